package face

import (
	"io"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// TestHelpFits: whatever help shows fits a terminal's usual width, with no blank at a line's end.
func TestHelpFits(t *testing.T) {
	f := &face{out: io.Discard, err: io.Discard}
	commands := 0
	var look func(c *cobra.Command)
	look = func(c *cobra.Command) {
		commands++
		c.InitDefaultHelpFlag()
		for _, line := range strings.Split(reflowed(c.Long)+"\n"+usageText(c), "\n") {
			if seen(line) > helpColumns || strings.HasSuffix(line, " ") {
				t.Errorf("%s: %d columns: %q", c.CommandPath(), seen(line), line)
			}
		}
		for _, below := range c.Commands() {
			look(below)
		}
	}
	look(f.rootCommand())
	if commands < 15 {
		t.Errorf("looked at %d commands only", commands)
	}
}

// TestIdleFlags: what is left out of a command's help does nothing there, and no other flag is left out.
func TestIdleFlags(t *testing.T) {
	f := &face{out: io.Discard, err: io.Discard}
	root := f.rootCommand()
	for path, names := range idle {
		root.InitDefaultHelpCmd()
		c, _, err := root.Find(strings.Fields(path))
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			if root.PersistentFlags().Lookup(name) == nil || acting(c).Lookup(name) != nil {
				t.Errorf("%s: %s", path, name)
			}
		}
	}
}
