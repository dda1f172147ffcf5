package frame

import (
	"fmt"
	"runtime/debug"

	"trueturn/ephem/amiss"
)

// Memory is reckoned before it is set aside, from the file's header alone.
//
// A file is read in two steps: the decoder makes an image of it, then the plane
// is drawn with the image beside it. What the decoder needed for itself is
// collected in between ([memory.collect]), so the dearer step counts. Garbage
// counts where a step goes on making it: Go's collector lets a heap grow to
// twice what is in use, and never beyond all that was ever set aside; see heap.
//
// Time is bounded by size, not by a clock: the worst files take some seconds.
//
// What the standard decoders set aside was read in their source (Go 1.26
// image/jpeg and image/png, golang.org/x/image/tiff v0.47) and is held to what
// the system counts by TestMemory.

// cost is what a pixel of one kind of file takes, in bytes.
type cost struct {
	kind    string  // of files, in the plural
	decoder float64 // while the decoder works, its image included
	kept    float64 // the image alone
	plane   float64
	instead string // how to save the picture so that more pixels are read; may be empty
}

const (
	planeBytes     = 4 // a pixel is a float32
	planeBytesCell = 1 // a cell of four pixels is one
)

// each is the bytes a pixel takes in the dearer of the two steps.
func (c cost) each() float64 {
	if left := c.decoder - c.kept; !givesBack && left < c.plane { // the plane does not fit into what is left
		return c.decoder + c.plane
	}
	return max(c.decoder, c.kept+c.plane)
}

// heap is how far a heap grows whose live part is at most so large while total
// is set aside.
func heap(live, total float64) float64 { return min(2*live, total) }

// memory keeps account of one picture.
type memory struct {
	need  int64             // bytes
	admit func(int64) error // Options.Admit
}

// worthCollecting is where a picture is large enough that garbage around it
// matters: an eighth of the limit, more than a picture of 12 megapixels takes.
const worthCollecting = MostBytes / 8

// admit refuses a picture too large for its kind. Else it waits until there is
// room, and clears away what earlier pictures left.
func (s source) admit(c cost, width, height int) error {
	pixels := float64(width) * float64(height)
	need := c.each()*pixels + float64(s.held)
	if pixels > maxPixels || need > MostBytes {
		if s.held > 0 {
			c.kind, c.instead = "packed "+c.kind, "unpack it first"
		}
		return tooLarge(c, width, height, need/pixels)
	}
	return s.room(int64(need))
}

// room waits until so many bytes may be taken.
func (m *memory) room(bytes int64) error {
	if m == nil {
		return nil
	}
	if m.need = bytes; m.admit != nil {
		if err := m.admit(bytes); err != nil {
			return err
		}
	}
	m.collect()
	return nil
}

// collect gives garbage back where it would add up with what comes next. That it
// is collected is not enough: what comes next may be too large for its place.
func (m *memory) collect() {
	if m != nil && m.need >= worthCollecting {
		debug.FreeOSMemory()
	}
}

// tooLarge says how many pixels are read of this kind, of which one takes so
// many bytes, and what to do.
func tooLarge(c cost, width, height int, each float64) error {
	most := int(min(maxPixels, MostBytes/each) / 1e6)
	way := "save it smaller"
	if c.instead != "" {
		way += ", or " + c.instead
	}
	return amiss.New(ErrTooLarge, fmt.Sprintf("the picture has %d×%d pixels, more than are read of its kind", width, height),
		fmt.Sprintf("%s are read up to %d megapixels: %s; if the camera has fewer pixels, the file is damaged", c.kind, most, way))
}
