package frame

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"trueturn/ephem/amiss"
)

// Times holds clocks read from a table, by the base name of the picture.
type Times map[string]Clock

const (
	maxTimesRows     = 100_000
	maxTimesRowBytes = 4096
	hintTimes        = "write one picture a line as file,start_utc,exposure_s – for example light_01.jpg,2026-11-25T21:30:00.5Z,8"
)

// ParseTimes reads a table of clocks: file,start_utc,exposure_s. The file is
// the base name. The start is the beginning of the exposure in UTC (a trailing
// Z may be left out; an offset such as +02:00 is honoured). The exposure is in
// seconds; empty is unknown. A header line with these three names, empty lines
// and lines beginning with # are skipped; names may stand in double quotes.
//
// The error is an [*Error] of kind ErrTimes naming the line.
func ParseTimes(r io.Reader) (Times, error) {
	t := Times{}
	lines := bufio.NewScanner(r)
	lines.Buffer(make([]byte, 0, maxTimesRowBytes), maxTimesRowBytes)
	n := 0
	for lines.Scan() {
		n++
		line := strings.TrimSpace(strings.TrimPrefix(lines.Text(), "\ufeff"))
		if line == "" || line[0] == '#' || len(t) == 0 && isTimesHeader(line) {
			continue
		}
		name, c, err := parseTimesRow(line)
		if err == nil {
			err = t.add(name, c)
		}
		if err != nil {
			return nil, &amiss.Error{Kind: ErrTimes, Text: fmt.Sprintf("table of times, line %d: %v", n, err), Ways: amiss.Do(hintTimes), From: err}
		}
	}
	return t, t.check(n, lines.Err())
}

func (t Times) add(name string, c Clock) error {
	if _, twice := t[name]; twice {
		return fmt.Errorf("%q stands in the table twice", name)
	}
	if len(t) >= maxTimesRows {
		return fmt.Errorf("more than %d pictures", maxTimesRows)
	}
	t[name] = c
	return nil
}

func (t Times) check(lines int, err error) error {
	switch {
	case errors.Is(err, bufio.ErrTooLong):
		return &amiss.Error{Kind: ErrTimes, Text: fmt.Sprintf("table of times, line %d: longer than %d bytes", lines+1, maxTimesRowBytes), Ways: amiss.Do(hintTimes), From: err}
	case err != nil:
		return &amiss.Error{Kind: ErrTimes, Text: fmt.Sprintf("the table of times cannot be read after line %d", lines), Ways: amiss.Do("check the file and its permissions"), From: err}
	case len(t) == 0:
		return amiss.New(ErrTimes, "the table of times names no picture", hintTimes)
	}
	return nil
}

func isTimesHeader(line string) bool {
	return strings.EqualFold(strings.ReplaceAll(line, " ", ""), "file,start_utc,exposure_s")
}

// parseTimesRow cuts from the right, so that a name may hold commas.
func parseTimesRow(line string) (string, Clock, error) {
	i := strings.LastIndexByte(line, ',')
	j := strings.LastIndexByte(line[:max(i, 0)], ',')
	if j < 0 {
		return "", Clock{}, errors.New("not three fields")
	}
	name := unquote(strings.TrimSpace(line[:j]))
	if k := strings.LastIndexAny(name, `/\`); k >= 0 {
		return "", Clock{}, fmt.Errorf("%q is a path: the table takes bare file names", name)
	}
	if name == "" {
		return "", Clock{}, errors.New("no file name")
	}
	start, step, err := parseUTC(unquote(strings.TrimSpace(line[j+1 : i])))
	if err != nil {
		return "", Clock{}, err
	}
	exposure, err := parseExposure(unquote(strings.TrimSpace(line[i+1:])))
	return name, Clock{Start: start, Exposure: exposure, Step: step, Source: "table of times", Told: Told{Zone: ZoneTable}}, err
}

// unquote takes off the double quotes of a CSV field; doubled ones inside
// stand for one.
func unquote(s string) string {
	if len(s) >= 2 && s[0] == '"' && s[len(s)-1] == '"' {
		return strings.ReplaceAll(s[1:len(s)-1], `""`, `"`)
	}
	return s
}

// ParseUTC reads a date and time in UTC (2026-11-25T21:30:00.5Z; the Z may be left out, an offset such as
// +02:00 is honoured) and the step it is written in. The error is plain and names the text.
func ParseUTC(s string) (at time.Time, step time.Duration, err error) { return parseUTC(s) }

func parseUTC(s string) (time.Time, time.Duration, error) {
	st, err := parseStamp(s)
	if err != nil || !st.hasTime {
		return time.Time{}, 0, fmt.Errorf("%q is no date and time", s)
	}
	if st.zone == "" {
		return st.time, st.step, nil
	}
	d, ok := parseOffset(st.zone)
	if !ok {
		return time.Time{}, 0, fmt.Errorf("%q has an offset that makes no sense", s)
	}
	return st.time.Add(-d), st.step, nil
}

func parseExposure(s string) (time.Duration, error) {
	if s == "" {
		return 0, nil
	}
	v, err := strconv.ParseFloat(s, 64)
	d, ok := durationOf(v)
	if err != nil || !ok {
		return 0, fmt.Errorf("%q is no exposure in seconds (more than 0, at most 86400)", s)
	}
	return d, nil
}
