package face

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/pflag"

	"trueturn/cmd/legible"
	"trueturn/cmd/trueturn/files"
	"trueturn/cmd/words"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/catalog/spelling"
)

// Exit codes.
const (
	exitAnswered    = 0
	exitNoAnswer    = 1
	exitUsage       = 2
	exitInterrupted = 130 // 128 + SIGINT, as shells count
)

// errUsage: a command line that makes no sense.
var errUsage = errors.New("no such command line")

// usage is what is wrong with the command line; from may be nil.
func usage(text, hint string, from error) error {
	return &amiss.Error{Kind: errUsage, Text: text, Ways: amiss.Do(hint), From: from}
}

// failed is why no answer could be given, with the way out; from may be nil.
func failed(text, hint string, from error) error {
	return &amiss.Error{Text: text, Ways: amiss.Do(hint), From: from}
}

// errSaid is returned when everything there is to say stands in the output
// already.
var errSaid = errors.New("no answer")

// errStopped is returned when the user ended what would else go on, and was told what became of it.
var errStopped = errors.New("stopped")

// hint is the way out an error knows, or "".
func hint(err error) string { return words.Hint(err) }

// conclude says why a command failed and picks the exit code.
func (f *face) conclude(err error) int {
	if err == nil || f.kept.failed(err) {
		err = f.lost()
	}
	switch {
	case err == nil:
		return exitAnswered
	case errors.Is(err, errStopped), errors.Is(err, context.Canceled) && f.kept.unread():
		return exitInterrupted
	case errors.Is(err, context.Canceled):
		f.complain("interrupted", "no half-written file was left behind")
		return exitInterrupted
	case errors.Is(err, errSaid):
		return exitNoAnswer
	}
	for _, e := range apart(err) {
		f.complain(e.Error(), hint(e))
	}
	if isUsage(err) {
		return exitUsage
	}
	return exitNoAnswer
}

// lost is why what was printed did not arrive, if somebody still waits for it.
func (f *face) lost() error {
	if f.kept == nil || f.kept.err == nil || f.kept.unread() {
		return nil
	}
	way := "check the disk or the program it was sent to"
	if files.Full(f.kept.err) {
		way = files.Hint(f.kept.err)
	}
	return failed("the answer could not be written: "+amiss.Plain(f.kept.err).Error(), way, f.kept.err)
}

// apart are the errors of several things that failed. One that has a way out of its own stands for its causes.
func apart(err error) (all []error) {
	joined, several := err.(interface{ Unwrap() []error })
	if _, whole := err.(*amiss.Error); whole || !several {
		return []error{err}
	}
	for _, e := range joined.Unwrap() {
		all = append(all, apart(e)...)
	}
	return all
}

func (f *face) complain(text, hint string) {
	f.remark("error", text)
	if hint != "" {
		f.remark("hint", hint)
	}
}

// note is what the user should know besides.
func (f *face) note(text string) { f.remark("note", text) }

// remark says one line beside the answer.
func (f *face) remark(kind, text string) { fmt.Fprintf(f.err, "%s: %s\n", kind, legible.Line(text)) }

// isUsage is whether the command line is at fault. Values that only packages
// further down can judge (an evening that cannot be, a site off the Earth) come
// from flags as well.
func isUsage(err error) bool {
	for _, kind := range append(usageKinds(), errUsage, ephem.ErrSite, ephem.ErrAir) {
		if errors.Is(err, kind) {
			return true
		}
	}
	return false
}

// flagError puts what the flag library says into our own words.
func flagError(fs *pflag.FlagSet, err error) error {
	var (
		unknown *pflag.NotExistError
		empty   *pflag.ValueRequiredError
		bad     *pflag.InvalidValueError
	)
	switch {
	case errors.As(err, &unknown):
		return unknownFlag(fs, unknown)
	case errors.As(err, &empty):
		f := empty.GetFlag()
		return usage(fmt.Sprintf("--%s needs a value", f.Name), usageOf(f), err)
	case errors.As(err, &bad):
		return badValue(bad)
	}
	return usage(err.Error(), "see trueturn --help", err)
}

func unknownFlag(fs *pflag.FlagSet, e *pflag.NotExistError) error {
	name := e.GetSpecifiedName()
	if short := e.GetSpecifiedShortnames(); short != "" {
		return usage(fmt.Sprintf("there is no flag -%s", name),
			"all flags but -h have long names, as in --site; write a file name that begins with a dash after --", e)
	}
	var known []string
	fs.VisitAll(func(f *pflag.Flag) { known = append(known, f.Name) })
	if near := nearest(name, known); near != "" {
		return usage(fmt.Sprintf("there is no flag --%s", name), fmt.Sprintf("did you mean --%s?", near), e)
	}
	return usage(fmt.Sprintf("there is no flag --%s", name), "--help lists the flags", e)
}

func badValue(e *pflag.InvalidValueError) error {
	cause := e.Unwrap()
	way := hint(cause)
	if way == "" {
		way = usageOf(e.GetFlag())
	}
	return usage(fmt.Sprintf("--%s %s: %v", e.GetFlag().Name, quote(e.GetValue()), cause), way, e)
}

func usageOf(f *pflag.Flag) string {
	kind, text := pflag.UnquoteUsage(f)
	return strings.TrimSpace(fmt.Sprintf("--%s %s: %s", f.Name, kind, text))
}

// quote shows what was typed, and no more of it than a line can hold.
func quote(s string) string {
	const longest = 40
	if r := []rune(s); len(r) > longest {
		return fmt.Sprintf("%q…", string(r[:longest]))
	}
	return fmt.Sprintf("%q", s)
}

// nearest is the known word a mistyped one most likely stands for; "" when none is close.
func nearest(word string, known []string) string {
	if i := spelling.Nearest(word, known); i >= 0 {
		return known[i]
	}
	return ""
}
