package pagetest

import (
	"encoding/binary"
	"math"
	"os"
	"testing"
)

// Chromium's fake microphone has 44100 Hz and two channels whatever is asked of it, and plays a
// file of just that kind exactly; a file that is missing or of another kind gives silence or noise.
const microphoneRate = 44100

// microphoneTone is 3 cents above E3 of twelve equal steps, in whole periods so that the loop has no seam:
// 660 periods of 164.8138·2^(3/1200) Hz nearly fill 4 s, and the rate is bent to fit by less than 0.001 cents.
func microphoneTone() []float64 {
	wanted := 164.81377845643496 * math.Exp2(3.0/1200)
	frames := int(math.Round(660 / wanted * microphoneRate))
	return tone{660 * microphoneRate / float64(frames), float64(frames) / microphoneRate, microphoneRate}.samples()
}

// writeStereo writes the same samples to both channels of a 16-bit WAV file.
func writeStereo(name string, samples []float64) error {
	size := uint32(4 * len(samples))
	b := append([]byte("RIFF"), 0, 0, 0, 0)
	b = append(b, "WAVEfmt "...)
	b = binary.LittleEndian.AppendUint32(b, 16)
	b = binary.LittleEndian.AppendUint16(b, 1)
	b = binary.LittleEndian.AppendUint16(b, 2)
	b = binary.LittleEndian.AppendUint32(b, microphoneRate)
	b = binary.LittleEndian.AppendUint32(b, 4*microphoneRate)
	b = binary.LittleEndian.AppendUint16(b, 4)
	b = binary.LittleEndian.AppendUint16(b, 16)
	b = append(b, "data"...)
	b = binary.LittleEndian.AppendUint32(b, size)
	for _, x := range samples {
		v := uint16(int16(math.Round(x * 32767)))
		b = binary.LittleEndian.AppendUint16(b, v)
		b = binary.LittleEndian.AppendUint16(b, v)
	}
	binary.LittleEndian.PutUint32(b[4:], uint32(len(b)-8))
	return os.WriteFile(name, b, 0o600)
}

// A page that listens sends the samples as they are: the pitch and the level of the played file arrive. In twelve
// equal steps at A4 = 440 Hz, E3 has 440·2^(-17/12) Hz = 164.81 Hz.
func TestBrowserMicrophone(t *testing.T) {
	needBrowser(t)
	s := serve(t, "--input", "browser", "--tuning", "12edo")
	p := open(t, s, "")
	p.wait("the tuner to wait", "document.getElementById('link-word').textContent === 'waiting'")
	listen := ".toolrow button"
	p.wait("the offer", "document.querySelector('.toolrow button').textContent === 'Let this page listen'")
	p.click(listen)
	p.wait("the note", "document.querySelector('.note').textContent === 'E3'")
	p.wait("a settled reading", "/± 0\\.0/.test(document.querySelector('.exact').textContent)")
	if got := cents(t, p.text(".cents")); math.Abs(got-3) > 0.1 {
		t.Errorf("the page shows %+g cents, the file plays +3", got)
	}
	// Six harmonics of 0.3/k have a mean square of 0.3²/2·(1 + 1/4 + … + 1/36) = 0.0671: −11.7 dB.
	// A gain control or a noise gate would show here. The browser's first instants drop out, and the pitch
	// is settled before they have left the level.
	p.wait("a level of −11.7 ± 1 dB",
		"Math.abs(parseFloat(document.querySelector('.figures div:nth-child(4) dd').textContent.replace('−', '-')) + 11.7) <= 1")
	p.click(listen)
	p.wait("the input to be lost", "document.getElementById('link-word').textContent === 'input lost'")
}
