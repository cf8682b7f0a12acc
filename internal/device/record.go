package device

// An Input says what to record.
type Input struct {
	Name    string // of the device, or a part that only it has; "": the default input
	Channel int    // 1..n picks a channel, 0 takes the mean
	Rate    int    // Hz; 0: DefaultRate, or the device's own where it does not take that
}

// Opened is a device that runs.
type Opened struct {
	Name string
	Rate int // Hz
}

// A Recorder is a child that records. One goroutine calls Open, then Next; the others may be
// called from any.
type Recorder struct{ p *process }

// Record starts a child that records.
func Record(in Input) (*Recorder, error) {
	p, err := begin(request{Job: jobRecord, Name: in.Name, Channel: in.Channel, Rate: in.Rate})
	if err != nil {
		return nil, err
	}
	return &Recorder{p}, nil
}

// Open waits until the device is open, or could not be opened, which is an error.
func (r *Recorder) Open() (Opened, error) { return r.p.open() }

// Next waits for the next block and puts it into b, whose slice it uses. An error means that no
// more will come.
func (r *Recorder) Next(b *Block) error {
	body, err := r.p.answer(kindBlock)
	if err != nil {
		return err
	}
	return parseBlock(body, b)
}

// Kill ends the child at once. What it had sent may still be read.
func (r *Recorder) Kill() { r.p.kill() }

// Close has the child stop the device and end, and kills it when it does not, which is an error.
func (r *Recorder) Close() error { return r.p.end(endLimit) }

// Said sums up in one line what the child has written on standard error; empty: nothing.
func (r *Recorder) Said() string { return r.p.said.sum() }
