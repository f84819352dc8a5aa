// Package journal keeps what a long job has done, so that it goes on where it was stopped.
// A [Journal] is a file of records, appended one by one: each has a kind, a byte, the
// number of the point of the job that it belongs to, and a body of bytes. [Create] begins one with a
// header of the caller's; [Open] reads one up to the first record that is torn or
// damaged, and appends after the last that is whole. A checksum binds each record to
// those before it. [Encoder] and [Decoder] make and read bodies, in few bytes
// where numbers repeat or lie close (pack.go). A [Lock] keeps other processes out of the folder. What the
// kinds mean, and what a search is, is not known here.
package journal
