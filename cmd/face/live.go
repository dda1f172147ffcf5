//go:build !js

package face

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"trueturn/align/guide"
	"trueturn/cmd/legible"
	"trueturn/cmd/trueturn/heic"
	"trueturn/cmd/trueturn/page"
	"trueturn/cmd/words"
	"trueturn/drift"
)

const liveText = `Serves a page to have beside the tripod. Pictures that appear in the folder DIR, or
are sent from the page, are measured one by one, and the page says at once what to
turn. If the phone is the camera let it shoot by itself (self-timer or interval) and
have the page on a second device.

Only this machine can open the page. --listen 0.0.0.0:8080 also lets in phones and tablets
on the same network, by a link nobody can guess. The link, address and all, is the last
word of the one line printed to stdout; what the page shows is at its "state" as JSON.

Ctrl-C or closing the terminal ends it; started with nohup it outlives the terminal. The
session is kept on disk. Started there again within twelve hours, it goes on.`

const liveExample = `  trueturn live --site 46.02,7.75,1620 evening/
  trueturn live --site 46.02,7.75 --planned 60 --listen 0.0.0.0:8080`

// serving is what the flags of live ask for.
type serving struct {
	measuring
	listen     string
	poll       time.Duration
	sessionDir string
	placeRight bool
}

func (f *face) liveCommand() *cobra.Command {
	s := &serving{measuring: *newMeasuring(), poll: 2 * time.Second}
	c := &cobra.Command{
		Use:     "live [DIR]",
		Short:   "the page beside the tripod: pictures come in, it says what to turn",
		Long:    liveText,
		Example: liveExample,
		Args:    oneFolder,
		PreRunE: func(*cobra.Command, []string) error { return s.check() },
		RunE:    func(c *cobra.Command, args []string) error { return f.live(c.Context(), args, s) },
	}
	fs := c.Flags()
	fs.SortFlags = false
	fs.StringVar(&s.listen, "listen", "", "`HOST:PORT` to serve the page at; 0.0.0.0:8080 for the network; else a free port, for this machine alone")
	fs.Var(seconds(&s.poll, 0.2, 3600), "poll", "how often to look through the folder")
	fs.StringVar(&s.sessionDir, "session-dir", "", "folder `DIR` to keep the session in; else trueturn-session in the folder of the pictures")
	fs.BoolVar(&s.placeRight, "place-and-clock-right", false, "you have checked both: what speaks against them is named, and the orders go on")
	s.lens.register(fs)
	s.clock.register(fs)
	s.wishes(fs)
	return c
}

func oneFolder(_ *cobra.Command, args []string) error {
	if len(args) > 1 {
		return usage(fmt.Sprintf("live watches one folder, not %d", len(args)), "name one; pictures from elsewhere can be sent from the page", nil)
	}
	return nil
}

// live serves until it is stopped.
func (f *face) live(ctx context.Context, args []string, s *serving) error {
	o, err := s.options(f, args)
	if err != nil {
		return err
	}
	o.Measure.Frame.Show = heic.Shower(ctx)
	p, err := page.Open(o)
	if err != nil {
		return err
	}
	f.announce(p, o)
	if err := p.Serve(ctx); err != nil {
		return err
	}
	fmt.Fprintf(f.err, "%s\n%s\n", words.Say("stopped", quote(p.SessionDir())), words.Say("how live is taken up"))
	return errStopped
}

// options are the flags as the page wants them.
func (s *serving) options(f *face, args []string) (page.Options, error) {
	fo, err := s.clock.options()
	if err != nil {
		return page.Options{}, err
	}
	o := page.Options{
		Listen: s.listen, SessionDir: s.sessionDir, Poll: s.poll,
		Measure: drift.Options{Frame: fo, Lens: s.lens.LensFlags},
		Guide:   guide.Options{Answer: f.question(&s.measuring), Knobs: f.gear.knobs()},
		FNumber: s.fNumber, Title: titleOf(args), Version: version(), Notes: legible.Lines(f.err),
		PlaceAndClockRight: s.placeRight, Phone: phonePage(os.Executable()),
	}
	if len(args) == 1 {
		o.Dir = args[0]
		err = s.watchable(o.Dir)
	}
	return o, err
}

// phonePage is the page for the phone alone beside the program, as a download unpacks it, or "".
func phonePage(program string, err error) string {
	if err == nil {
		program, err = filepath.EvalSymlinks(program) // a link to it may lie in PATH
	}
	if err != nil {
		return ""
	}
	path := filepath.Join(filepath.Dir(program), page.PhoneFile)
	if info, err := os.Stat(path); err != nil || !info.Mode().IsRegular() {
		return ""
	}
	return path
}

// watchable refuses what is no folder, and a session amid the pictures, where its files could be taken for some.
func (s *serving) watchable(dir string) error {
	info, err := os.Stat(dir)
	switch {
	case os.IsNotExist(err):
		return failed("there is no folder "+quote(dir), "make it first; the pictures may come later", err)
	case err != nil:
		return cannotOpen(dir, err)
	case !info.IsDir():
		return failed(quote(dir)+" is not a folder", "name the folder the pictures go into; single pictures are for align", nil)
	}
	if kept, err := os.Stat(s.sessionDir); err == nil && os.SameFile(kept, info) {
		return usage("the session cannot be kept among the pictures", "name a folder of its own, as in --session-dir "+filepath.Join(dir, "session"), nil)
	}
	return nil
}

// announce says where the page is. The link comes last, on stdout and alone there.
func (f *face) announce(p *page.Page, o page.Options) {
	if o.Dir != "" {
		fmt.Fprintf(f.err, "watching %s for pictures; the page takes others\n", quote(o.Dir))
	} else {
		fmt.Fprintln(f.err, "no folder is watched; send pictures from the page")
	}
	fmt.Fprintf(f.err, "the session is kept in %s\n", quote(p.SessionDir()))
	if f.site == nil {
		f.note("without --site LAT,LON the place must be stored in the pictures")
	}
	fmt.Fprint(f.err, "\n", cautions(), "\n")
	f.reach(p)
	fmt.Fprintf(f.out, "the page, until Ctrl-C: %s\n", p.URL())
}

// reach says who can open the page, and helps a phone to.
func (f *face) reach(p *page.Page) {
	if !p.Shared() {
		fmt.Fprintln(f.err, "for this machine alone; --listen 0.0.0.0:8080 lets in a phone on the same network")
		return
	}
	fmt.Fprintln(f.err, "whoever has the link can see the page and send pictures; others on the network may be able to read along")
	for _, other := range p.URLs()[1:] {
		fmt.Fprintln(f.err, "also "+other)
	}
	if strings.Contains(p.URL(), "://127.") {
		f.note("this machine is on no network yet; join one and start again, so that a phone can reach it")
		return
	}
	if c, err := page.NewCode(p.URL()); err == nil && f.errSeen && c.Width() <= f.errColumns {
		c.Write(f.err)
	}
}
