//go:build !js

package face

import (
	"github.com/spf13/cobra"

	"trueturn/align/simulate"
	"trueturn/cmd/trueturn/page"
)

// addCommands adds all there are, in the order help lists them.
func (f *face) addCommands(root *cobra.Command) {
	root.SetVersionTemplate("trueturn {{.Version}}\n")
	root.AddCommand(f.alignCommand(), f.liveCommand(), f.subsCommand(), f.exposeCommand(), f.poleCommand(), f.tonightCommand(), f.simulateCommand(), f.demoCommand())
	root.AddCommand(f.kitCommand(), f.completionCommand())
}

// equip fills in what the kit knows.
func (f *face) equip(c *cobra.Command) error { return f.outfit(c) }

// finish has the shell complete names.
func (f *face) finish(root *cobra.Command) { f.complete(root) }

// usageKinds are errors of packages further down that only the command line can be at fault for.
func usageKinds() []error { return []error{page.ErrAddress, simulate.ErrInvalid} }
