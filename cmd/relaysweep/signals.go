package main

import (
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
