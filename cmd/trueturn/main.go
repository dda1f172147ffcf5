// Command trueturn finds, from a handful of timed photographs of stars, where
// the axis of a small tracking mount points, how sure that is, and what to turn.
// The command line is package face, which the page of the phone alone has too.
package main

import (
	"os"
	"runtime/debug"

	"trueturn/cmd/face"
)

// memoryGoal is what the program tries to stay within: two 12-megapixel pictures in
// the works take 140 MB, and the collector would else let as much again of finished
// ones lie about. Larger pictures take what they need.
const memoryGoal = 230 << 20

func main() {
	debug.SetMemoryLimit(memoryGoal)
	os.Exit(face.Run(os.Args[1:], os.Stdout, os.Stderr))
}
