package pagetest

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"testing"

	browserdomain "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/chromedp"
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
	for _, size := range [][2]int64{{390, 844}, {768, 1024}, {1280, 800}} {
		t.Run(fmt.Sprint(size[0]), func(t *testing.T) { listenAt(t, s, size) })
	}
}

func listenAt(t *testing.T, s *server, size [2]int64) {
	p := open(t, s, "")
	p.do(chromedp.EmulateViewport(size[0], size[1]))
	p.permit(browserdomain.PermissionSettingGranted)
	p.wait("the tuner to wait", "['waiting', 'input lost'].includes(document.getElementById('link-word').textContent)")
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
	p.wait("what to do", "document.querySelector('.remark').textContent.includes('Let this page listen')")
	p.do(chromedp.Navigate("about:blank"))
}

// permit answers for the user who is asked for the microphone, from now on.
func (p *page) permit(setting browserdomain.PermissionSetting) {
	p.t.Helper()
	_, err := chromedp.CallBrowser(p.ctx, browserdomain.SetPermission, browserdomain.SetPermissionParams{
		Permission: &browserdomain.PermissionDescriptor{Name: "microphone"}, Setting: setting,
		BrowserContextID: chromedp.FromContext(p.ctx).BrowserContextID,
	})
	if err != nil {
		p.t.Fatal(err)
	}
}

// A microphone that is refused, or taken away while the page listens, is said to be, and can be given again.
func TestMicrophoneRefusedAndTakenAway(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "browser", "--tuning", "12edo"), "")
	p.do(chromedp.EmulateViewport(390, 844))
	const listen = ".toolrow button"
	const offered = "document.querySelector('.toolrow button').textContent === 'Let this page listen'"
	p.wait("the offer", offered)
	p.permit(browserdomain.PermissionSettingDenied)
	p.click(listen)
	p.wait("that it was not allowed", "document.querySelector('.remark').textContent.startsWith('The microphone is not allowed to this page')")
	p.wait("the offer again", offered)
	p.permit(browserdomain.PermissionSettingGranted)
	p.click(listen)
	p.wait("the note", "document.querySelector('.note').textContent === 'E3'")
	if said := eval[string](p, "document.querySelector('.remark').textContent"); said != "" {
		t.Errorf("it listens, and the page still says %q", said)
	}
	p.permit(browserdomain.PermissionSettingDenied)
	p.wait("that it has gone", "document.querySelector('.remark').textContent.startsWith('The microphone has gone')")
	p.wait("the offer once more", offered)
	p.permit(browserdomain.PermissionSettingGranted)
	p.click(listen)
	p.wait("the note again", "document.querySelector('.head:not(.last) .note')?.textContent === 'E3'")
}
