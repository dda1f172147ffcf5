//go:build !linux

package main

import "time"

// processorTime is how long work took by the clock, this system telling nothing better.
func processorTime(work func()) time.Duration {
	from := time.Now()
	work()
	return time.Since(from)
}
