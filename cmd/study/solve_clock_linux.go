package main

import (
	"runtime"
	"syscall"
	"time"
)

// processorTime is how long work kept one core busy: what the clock shows on an idle machine, and what it shows here
// however busy the others are.
func processorTime(work func()) time.Duration {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	from := threadTime()
	work()
	return threadTime() - from
}

func threadTime() time.Duration {
	const thisThread = 1 // RUSAGE_THREAD, getrusage(2)
	var u syscall.Rusage
	if syscall.Getrusage(thisThread, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
