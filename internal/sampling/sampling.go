// Package sampling has what sources and devices of sound agree on: the rates that there are, and how several channels
// become one. It imports nothing of ours.
package sampling

import "time"

// Sample rates, in Hz: the least and the greatest that are accepted, and the one where none is named.
const (
	MinRate     = 8000
	MaxRate     = 192000
	DefaultRate = 48000
)

// Mix makes one channel of frames: channel pick, from 1, or the mean of all if pick is 0. There
// are as many frames as dst has samples.
func Mix[T float32 | float64](dst, frames []T, pick int) {
	nch := len(frames) / len(dst)
	if nch == 1 {
		copy(dst, frames)
		return
	}
	if pick > 0 {
		for i := range dst {
			dst[i] = frames[i*nch+pick-1]
		}
		return
	}
	for i := range dst {
		var sum T
		for _, v := range frames[i*nch : (i+1)*nch] {
			sum += v
		}
		dst[i] = sum / T(nch)
	}
}

// Duration is the time that n samples take at rate Hz.
func Duration(n int64, rate int) time.Duration {
	r := int64(rate)
	return time.Duration(n/r)*time.Second + time.Duration(n%r)*time.Second/time.Duration(r)
}
