package pagetest

import (
	"encoding/binary"
	"math"
	"os"
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
