package ensemble

var debugFit func(r *Reader, what string)
var debugReader *Reader

func dbg(what string) {
	if debugFit != nil && debugReader != nil {
		debugFit(debugReader, what)
	}
}
