package face

import (
	"bytes"
	"context"
	"io"
	"io/fs"
	"strings"
	"trueturn/align/exposure"

	"github.com/spf13/cobra"
)

// addCommands adds those that need no files. Nothing here may use a template: it makes the page half as large again.
func (f *face) addCommands(root *cobra.Command) {
	root.AddCommand(f.exposeCommand(), f.poleCommand(), f.tonightCommand())
}

// There is no kit, and no shell, in a browser.
func (f *face) equip(*cobra.Command) error { return nil }
func (f *face) finish(*cobra.Command)      {}

func usageKinds() []error { return nil }

// Judged says what became of exposures, as subs does.
func Judged(v exposure.Verdict, tolerance float64) string {
	var said bytes.Buffer
	f := &face{out: &said, err: &said, width: unbroken}
	f.sayVerdict(v, tolerance)
	return said.String()
}

// unbroken is a width no line reaches: a browser breaks them itself.
const unbroken = 100000

// Answer runs a command line where there is neither a terminal nor a disk; files are those it may open by name. What it
// says to either stream is returned, with its exit code.
func Answer(ctx context.Context, args []string, files map[string]string) (out, err string, code int) {
	var said, beside bytes.Buffer
	f := &face{out: &said, err: &beside, kept: &keeper{w: &said}, width: unbroken, errColumns: unbroken, drawn: true}
	f.open = func(name string) (io.ReadCloser, error) {
		text, ok := files[name]
		if !ok {
			return nil, fs.ErrNotExist
		}
		return io.NopCloser(strings.NewReader(text)), nil
	}
	code = f.conclude(f.execute(ctx, args))
	return said.String(), beside.String(), code
}
