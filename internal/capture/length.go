package capture

// Len returns how many samples the recording announces, and 0 where it does not say: on bare
// samples, and in files written to a pipe. The file may hold fewer.
func (r *recording) Len() int64 { return r.frames.length() }

func (p *pcmReader) length() int64 {
	if p.size >= streamedSize {
		return 0
	}
	return p.size / int64(p.nch*p.format.bytes)
}

func (r *flacReader) length() int64 { return int64(r.stream.Info.NSamples) }
