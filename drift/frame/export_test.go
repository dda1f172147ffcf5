package frame

// DNGOf lends the writer of raw pictures to the tests outside the package.
func DNGOf(width int, pix []uint16) []byte { return dngOf(width, pix) }
