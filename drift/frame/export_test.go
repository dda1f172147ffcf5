package frame

import (
	"encoding/binary"
	"fmt"
)

// DNGOf lends the writer of raw pictures to the tests outside the package.
func DNGOf(width int, pix []uint16, orientation int) []byte {
	return dngOf(width, pix, tag{274, []uint32{uint32(orientation)}})
}

// FITSOf writes a FITS picture of 16-bit samples (FITS 4.0 §5.2.5: zero at
// 32768 makes them unsigned), its header joined by the cards given.
func FITSOf(width int, pix []uint16, cards ...string) []byte {
	b := fitsText(append([]string{"BITPIX  = 16", "NAXIS   = 2", fmt.Sprintf("NAXIS1  = %d", width),
		fmt.Sprintf("NAXIS2  = %d", len(pix)/width), "BZERO   = 32768"}, cards...)...)
	for _, v := range pix {
		b = binary.BigEndian.AppendUint16(b, v-32768)
	}
	return b
}
