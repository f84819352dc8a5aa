package main

import (
	"context"
	"os"
	"os/signal"
)

// stopSignals are the signals that end a run in good order: those of them that
// whoever started the program has not told it to ignore, as nohup does.
func stopSignals() []os.Signal {
	var listened []os.Signal
	for _, s := range endSignals {
		if !signal.Ignored(s) {
			listened = append(listened, s)
		}
	}
	return listened
}

// exitOnSecondSignal ends the program at once when a second of these signals
// comes. Whatever is being written then is torn, which every file stands: the
// journal drops a torn end, and the others take their places whole.
func exitOnSecondSignal() {
	signals := make(chan os.Signal, 2)
	signal.Notify(signals, stopSignals()...)
	go func() {
		<-signals
		<-signals
		os.Exit(exitInterrupted)
	}()
}

// untilInterrupted is what work brings, or the context's error as soon as the
// context ends. Nothing ends a read that waits for a disk or a network: work is
// then left to itself, and must not print or write files.
func untilInterrupted[T any](ctx context.Context, work func() (T, error)) (T, error) {
	type brought struct {
		value T
		err   error
	}
	done := make(chan brought, 1)
	if err := ctx.Err(); err != nil {
		return brought{}.value, err
	}
	go func() {
		value, err := work()
		done <- brought{value, err}
	}()
	select {
	case b := <-done:
		return b.value, b.err
	case <-ctx.Done():
		return brought{}.value, ctx.Err()
	}
}
