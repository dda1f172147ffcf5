package face

import (
	"context"
	"io"
	"os"

	"github.com/spf13/cobra"

	"trueturn/drift"
	"trueturn/drift/track"
)

const positionsText = `

With --positions a table takes the place of the pictures: CSV, the columns named in its first
line, times in UTC. For stars measured elsewhere mid_utc,x,y, one star a line (and where
known file,exposure_s,flux or mag,sigma_px,fwhm_px,width,height). For directions solved
elsewhere mid_utc,ra,dec, one picture a line (ICRS; and where known roll,sigma_arcsec,
roll_sigma_deg,exposure_s,file). start_utc with exposure_s may replace mid_utc. The motor
alone must have turned the camera: no guiding.`

// framesOrTable is what align takes: pictures, or a table of positions in their place.
func (m *measuring) framesOrTable(c *cobra.Command, args []string) error {
	if !c.Flags().Changed("positions") {
		return needFrames(c, args)
	}
	if len(args) > 0 {
		return usage("--positions takes the place of pictures; "+quote(args[0])+" is one too many", "give either pictures or --positions FILE.csv", nil)
	}
	if m.positions == "" {
		return usage("--positions needs a file", "name the table, or - to read it from the standard input", nil)
	}
	for _, name := range []string{"tz", "stamp", "times"} {
		if c.Flags().Changed(name) {
			return usage("--"+name+" does not go with --positions", "the table's times are UTC and its own; --clock-offset adds seconds to them", nil)
		}
	}
	m.stdin = c.InOrStdin()
	return nil
}

// measureTable turns a table of positions into the answer.
func (f *face) measureTable(ctx context.Context, m *measuring) (result, error) {
	t, err := m.readTable()
	if err != nil {
		return result{}, err
	}
	if n := len(t.Directions); n > 0 && (m.lens.given() || m.at != nil) {
		f.note("the table holds directions; what was given of the lens or the field is not needed")
	}
	fo, err := m.clock.options()
	if err != nil {
		return result{}, err
	}
	p := f.progress("recognised picture", len(t.Fields))
	seq, err := drift.FromTable(ctx, t, drift.Options{
		Frame: fo, Lens: m.lens.LensFlags, Narrow: m.narrow(), Progress: func(drift.Shot) { p.step() },
	})
	p.end()
	if err != nil {
		return result{}, err
	}
	return f.answered(seq, m), nil
}

func (m *measuring) readTable() (track.Table, error) {
	if m.positions == "-" {
		return track.ParseTable(m.stdin)
	}
	if info, err := os.Stat(m.positions); err == nil && info.IsDir() {
		return track.Table{}, failed(quote(m.positions)+" is a folder", "name the table itself", nil)
	}
	file, err := os.Open(m.positions)
	if err != nil {
		return track.Table{}, cannotOpen(m.positions, err)
	}
	defer file.Close()
	return track.ParseTable(io.Reader(file))
}
