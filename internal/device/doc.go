// Package device has the sound devices of this computer, in a process of their own.
//
// The audio library, or a driver below it, may hang for good when a device goes away, and writes
// what it likes on standard error. So it runs in a child: the same program, started with the
// argument [Command], for one job: to list the devices, to record from one, or to play on one. A
// child that does not answer is killed, and another is started; nothing is expected of a library
// that has failed once. The child ends by itself when its standard input ends, and so with its
// parent, however that ends.
//
// [List], [Record] and [Play] are for the parent. The child is [ServeIfAsked], which a program,
// or a test binary in its TestMain, calls before anything else.
//
// # What parent and child say
//
// Requests come on the child's standard input, answers on its standard output. Either way they are
// messages: a byte that says which kind, the length of the rest in bytes as 32 bits, and the rest.
// Numbers are little-endian.
//
//	to the child
//	r  request   JSON: the job, first of all
//	s  sound     samples for the loudspeaker, 32-bit floats, no more than were asked for
//
//	to the parent
//	l  list      JSON: the devices; the end of the job
//	o  opened    JSON: the name of the device, and its sample rate in Hz
//	b  block     number of the first sample since the first one of all, those that were lost
//	             counted too; how many were lost just before; time of arrival, in ns since 1970
//	             (64 bits each); samples of one channel, 32-bit floats
//	a  ask       so many more samples may come for the loudspeaker (64 bits)
//	f  failure   a sentence; the end of the job
//
// A block is on its way as soon as the library has delivered it, and has no more than [BlockLen]
// samples. Where the parent does not take them, the child keeps two seconds, and counts what it
// must drop. The end of its standard input asks the child to stop its device and to end.
package device
