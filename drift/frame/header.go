package frame

import (
	"fmt"
	"strconv"
	"strings"

	"trueturn/ephem/amiss"
)

// FITS standard 4.0 §3.1, §4.1: blocks of 2880 bytes, cards of 80 characters.
const (
	fitsBlock      = 2880
	fitsCard       = 80
	maxFITSBlocks  = 4000 // 144 000 cards; a header without END must not be read for ever
	maxFITSHeaders = 100  // header-data units looked through for a picture
)

// header holds the cards of a FITS header by keyword: the value as written,
// strings without their quotes. Of a repeated keyword the first counts.
type header map[string]string

// readHeader reads the header at off and returns where its data begin.
func readHeader(src source, off int64) (header, int64, error) {
	h := header{}
	for range maxFITSBlocks {
		b, err := src.bytes(off, fitsBlock)
		if err != nil {
			return nil, 0, broken(err, "the FITS header has no END")
		}
		off += fitsBlock
		for ; len(b) > 0; b = b[fitsCard:] {
			if strings.TrimRight(string(b[:8]), " ") == "END" {
				return h, off, nil
			}
			h.add(string(b[:fitsCard]))
		}
	}
	return nil, 0, amiss.New(ErrBroken, "the FITS header does not end", hintCopy)
}

// add takes over one card; comments and cards without a value are left out.
func (h header) add(card string) {
	name := strings.TrimSpace(card[:8])
	if card[8] != '=' || name == "" {
		return
	}
	if _, seen := h[name]; !seen {
		h[name] = cardValue(card[9:])
	}
}

// cardValue reads the value field: a string in quotes (a quote inside is
// doubled), or everything up to the comment.
func cardValue(s string) string {
	s = strings.TrimSpace(s)
	if !strings.HasPrefix(s, "'") {
		value, _, _ := strings.Cut(s, "/")
		return strings.TrimSpace(value)
	}
	var out strings.Builder
	for i := 1; i < len(s); i++ {
		if s[i] == '\'' {
			if i+1 == len(s) || s[i+1] != '\'' {
				break
			}
			i++
		}
		out.WriteByte(s[i])
	}
	return strings.TrimSpace(out.String())
}

// text returns the first of the keywords that has a value.
func (h header) text(names ...string) string {
	for _, n := range names {
		if v := h[n]; v != "" {
			return v
		}
	}
	return ""
}

// number returns the first of the keywords that holds a number. Fortran's D
// exponent is read, and a unit after the number is tolerated.
func (h header) number(names ...string) (float64, bool) {
	for _, n := range names {
		s, _, _ := strings.Cut(h[n], " ")
		s = strings.TrimRight(strings.NewReplacer("D", "E", "d", "e").Replace(s), "ms\"")
		if v, err := strconv.ParseFloat(s, 64); err == nil && v-v == 0 {
			return v, true
		}
	}
	return 0, false
}

// integer returns a structural keyword, which must be there.
func (h header) integer(name string) (int64, error) {
	v, err := strconv.ParseInt(h[name], 10, 64)
	if err != nil {
		return 0, amiss.New(ErrBroken, fmt.Sprintf("the FITS header has no usable %s", name), hintCopy)
	}
	return v, nil
}

// under returns h with everything of the primary header it lacks.
func (h header) under(primary header) header {
	for k, v := range primary {
		if _, ok := h[k]; !ok {
			h[k] = v
		}
	}
	return h
}
