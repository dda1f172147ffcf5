// Command study measures trueturn against the targets of its design: star positions, solving, the axis, and how many
// minutes a phone needs. It writes one page of tables, study.md, with plots beside it:
//
//	go run ./cmd/study [--out DIR] [--part stars,solve,attitude,axis,minutes] [--trials N] [--quick]
//
// Start reading at parts: each is one function in a file of its own, which draws scenes of known truth, measures them with
// the packages below through what they export, and writes a chapter. Where light falls is worked out by package scene,
// which shares no path and no projection with what is measured. Everything is drawn from one seed: the same commit gives
// the same page, for any --workers, but for the times it names, with commit, machine and cores; a chapter is saved when it
// ends, so that an interrupt keeps the parts before. Package scene is held to outsiders: its pixels to astropy's models,
// its camera to astropy's gnomonic projection, its mount to ephem's sky, its bounds to closed forms.
//
//	--part stars     places against the bound, whatever width and trail (3 min with --trials 280)
//	--part solve     12 000 true fields, 10 000 false ones, 480 pictures: recognised, never wrongly, how fast (half an hour)
//	--part attitude  one picture's stated error
//	--part axis      the axis against its bound, 46 kinds of session, 200 each
//	--part minutes   minutes of pictures until the axis is known to 10′, 3′, 1′: the table of "trueturn help swing"
package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"strings"
	"syscall"

	"github.com/spf13/pflag"
	"golang.org/x/term"

	"trueturn/cmd/study/sheet"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second interrupt kills
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// request is the command line.
type request struct {
	dir   string
	parts []part
	o     options
}

// run is the program but for the process around it.
func run(ctx context.Context, args []string, out, status io.Writer) int {
	r, err := parse(args, status)
	if errors.Is(err, pflag.ErrHelp) {
		return 0
	}
	if err != nil {
		fmt.Fprintf(status, "error: %v\n", err)
		return 2
	}
	switch err := r.study(ctx, status); {
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(status, "interrupted; what stands in the folder is whole")
		return 130
	case err != nil:
		fmt.Fprintf(status, "error: %v\n", err)
		return 1
	}
	fmt.Fprintln(out, r.dir+"/study.md")
	return 0
}

func parse(args []string, status io.Writer) (request, error) {
	r := request{}
	var names []string
	f := pflag.NewFlagSet("study", pflag.ContinueOnError)
	f.SetOutput(status)
	f.StringVar(&r.dir, "out", "study", "folder for study.md and its plots")
	f.StringSliceVar(&names, "part", nil, "parts to run: "+partNames()+" (default all)")
	f.IntVar(&r.o.Trials, "trials", 0, "trials a cell (default: each part's own)")
	f.BoolVar(&r.o.Quick, "quick", false, "few trials: see that it runs, under a minute")
	f.Uint64Var(&r.o.Seed, "seed", 1, "seed of everything drawn")
	f.IntVar(&r.o.Workers, "workers", runtime.GOMAXPROCS(0), "goroutines")
	if err := f.Parse(args); err != nil {
		return r, err
	}
	if f.NArg() > 0 {
		return r, fmt.Errorf("there is nothing to do with %q: the study takes flags alone", f.Arg(0))
	}
	if r.o.Trials < 0 || r.o.Workers < 1 {
		return r, errors.New("--trials must be 0 or more, --workers 1 or more")
	}
	var err error
	r.parts, err = chosen(names)
	return r, err
}

func partNames() string {
	var names []string
	for _, p := range parts {
		names = append(names, p.name)
	}
	return strings.Join(names, ",")
}

func chosen(names []string) ([]part, error) {
	if len(names) == 0 {
		return parts, nil
	}
	asked := map[string]bool{}
	for _, n := range names {
		asked[n] = true
	}
	var out []part
	for _, p := range parts {
		if asked[p.name] {
			out = append(out, p)
			delete(asked, p.name)
		}
	}
	for n := range asked {
		return nil, fmt.Errorf("there is no part %q: there are %s", n, partNames())
	}
	return out, nil
}

// study runs the parts one after the other and saves the page after each, so that a long run that is ended keeps what it
// has.
func (r request) study(ctx context.Context, status io.Writer) error {
	book := sheet.New("trueturn: how well it measures")
	head(book, r.o)
	for _, p := range r.parts {
		o := r.o
		o.part = p.name
		if f, ok := status.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
			o.status = status
		}
		c := &sheet.Chapter{Title: p.what}
		err := p.run(ctx, o, c)
		o.clear()
		if err = cmp.Or(ctx.Err(), err); err != nil {
			return err
		}
		book.Add(c)
		if err := book.Save(r.dir); err != nil {
			return err
		}
	}
	return nil
}
