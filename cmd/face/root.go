package face

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"trueturn/ephem"
)

const rootText = `Photographs of stars tell where the axis of a small tracking mount points.
Take a few timed pictures of any patch of sky with the motor running, hand
them to "align", and it says which knob to turn, which way and how far. It needs no
network, no view of the pole and no connection to the motor.

Write your places, cameras, lenses and mounts down once (trueturn kit init) and every
command knows them by name. A flag you type always wins over the kit.

Answers go to stdout, as JSON with --json; progress, notes and errors to stderr. Exit
codes: 0 answered; 1 could not answer, and says why and what to do; 2 the command line
makes no sense; 130 interrupted. Colours are red on black for eyes used to the dark, on
terminals only; NO_COLOR or --no-color leaves them out.

The kit is trueturn/kit.toml in $XDG_CONFIG_HOME, else in your system's folder for
settings (~/.config on many systems).`

const rootExample = `  trueturn demo
  trueturn align --site 46.02,7.75,1620 evening/
  trueturn live --at-site hut --camera grey --lens fifty evening/
  trueturn help swing`

// execute runs one command line.
func (f *face) execute(ctx context.Context, args []string) error {
	root := f.rootCommand()
	root.SetArgs(args)
	if err := unknownCommand(root, args); err != nil {
		f.dress()
		return err
	}
	err := root.ExecuteContext(ctx)
	if err != nil && !f.begun {
		f.dress()
		return usage(err.Error(), hint(err), err)
	}
	return err
}

func (f *face) rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:           "trueturn",
		Short:         "from a handful of photographs to a true axis",
		Long:          rootText,
		Example:       rootExample,
		Version:       version(),
		SilenceUsage:  true,
		SilenceErrors: true,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	root.PersistentPreRunE = func(c *cobra.Command, _ []string) error {
		f.begun = true
		f.dress()
		return f.equip(c)
	}
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error { return flagError(c.Flags(), err) })
	root.SetOut(f.out)
	root.SetErr(f.err)
	root.CompletionOptions.DisableDefaultCmd = true // completionCommand says it in our words
	f.globalFlags(root.PersistentFlags())
	f.addCommands(root)
	root.SetHelpCommand(f.helpCommand())
	layOut(root)
	f.finish(root)
	return root
}

func (f *face) globalFlags(fs *pflag.FlagSet) {
	fs.Var(&value{kind: "LAT,LON[,HEIGHT_M]", set: f.setSite}, "site",
		"where the mount stands: decimal degrees, north and east positive; else the place stored in the pictures")
	f.gear.register(fs)
	fs.BoolVar(&f.json, "json", false, "print JSON")
	fs.BoolVar(&f.noColor, "no-color", false, "no colours")
	fs.SortFlags = false
}

func (f *face) setSite(s string) error {
	site, err := ephem.ParseSite(s)
	if err != nil {
		return err
	}
	f.site = &site
	return nil
}

// unknownCommand refuses a first word that is no command, before its flags are
// looked at.
func unknownCommand(root *cobra.Command, args []string) error {
	root.InitDefaultHelpCmd()
	if len(args) > 0 && (args[0] == cobra.ShellCompRequestCmd || args[0] == cobra.ShellCompNoDescRequestCmd) {
		return nil // the shell asks; cobra adds this command when it runs
	}
	_, _, err := root.Find(args)
	if err == nil {
		return nil
	}
	var name string
	if _, scan := fmt.Sscanf(err.Error(), "unknown command %q for", &name); scan != nil {
		return usage(err.Error(), "see trueturn --help", err)
	}
	if _, ok := chapter(name); ok {
		return usage(fmt.Sprintf("there is no command %s", quote(name)), "that is a chapter of the manual: trueturn help "+name, err)
	}
	var known []string
	for _, c := range root.Commands() {
		known = append(known, c.Name())
	}
	if near := nearest(name, known); near != "" {
		return usage(fmt.Sprintf("there is no command %s", quote(name)), fmt.Sprintf("did you mean %s?", near), err)
	}
	return usage(fmt.Sprintf("there is no command %s", quote(name)), "trueturn --help lists the commands", err)
}
