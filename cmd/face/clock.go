package face

import (
	"os"
	"time"

	"github.com/spf13/pflag"

	"trueturn/drift/frame"
	"trueturn/ephem/amiss"
)

// clockFlags are what the user says of the pictures' clock.
type clockFlags struct {
	zone   *time.Location
	tz     *pflag.Flag // of zone: not changed where the kit has it; nil where nobody was asked
	offset time.Duration
	stamp  frame.Stamp
	times  string
}

func (c *clockFlags) register(fs *pflag.FlagSet) {
	const yearS = 366 * 86400
	fs.Var(zone(&c.zone), "tz", "zone of the camera's clock, for pictures that do not say, and of the times printed: +02:00, UTC, or a name like Europe/Lisbon")
	c.tz = fs.Lookup("tz")
	fs.Var(seconds(&c.offset, -yearS, yearS), "clock-offset", "seconds to add to the camera's clock")
	fs.Var(&value{kind: "start|middle|end", text: "start", set: c.setStamp}, "stamp", "which moment of the exposure the picture's time marks")
	fs.StringVar(&c.times, "times", "", "table `FILE.csv` of file,start_utc,exposure_s, for pictures without a clock")
}

func (c *clockFlags) setStamp(s string) error {
	for _, stamp := range []frame.Stamp{frame.StampStart, frame.StampMiddle, frame.StampEnd} {
		if s == stamp.String() {
			c.stamp = stamp
			return nil
		}
	}
	return amiss.New(nil, "no part of an exposure", "choose start, middle or end")
}

// options reads the table, if there is one.
func (c *clockFlags) options() (frame.Options, error) {
	o := frame.Options{Zone: c.zone, ZoneKept: c.tz != nil && !c.tz.Changed, ClockOffset: c.offset, Stamp: c.stamp}
	if c.times == "" {
		return o, nil
	}
	f, err := os.Open(c.times)
	if err != nil {
		return o, cannotOpen(c.times, err)
	}
	defer f.Close()
	o.Times, err = frame.ParseTimes(f)
	return o, err
}
