package face

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"trueturn/cmd/face/manual"
)

const helpText = `Shows what a command does, as its --help does, or a chapter of the manual.`

const helpExample = `  trueturn help swing
  trueturn help expose`

// helpCommand shows a command's own help, or a chapter of the manual.
func (f *face) helpCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "help [COMMAND|TOPIC]",
		Short:   "help on a command, or a chapter of the manual",
		Long:    helpText,
		Example: helpExample,
		// In place of the root's: the kit has no part in it.
		PersistentPreRunE: func(*cobra.Command, []string) error {
			f.begun = true
			f.dress()
			return nil
		},
		ValidArgsFunction: helpWords,
		RunE:              func(c *cobra.Command, words []string) error { return f.help(c.Root(), words) },
	}
}

func (f *face) help(root *cobra.Command, words []string) error {
	if f.json {
		return usage("help prints text, no JSON", "leave --json out", nil)
	}
	if len(words) == 1 {
		if text, ok := chapter(words[0]); ok {
			_, err := fmt.Fprint(f.out, text)
			return err
		}
	}
	c, rest, err := root.Find(words)
	if err != nil || len(rest) > 0 {
		return unknownTopic(root, words)
	}
	c.InitDefaultHelpFlag()
	return c.Help()
}

func chapter(name string) (string, bool) {
	for _, t := range manual.Topics() {
		if t.Name == name {
			return t.Text, true
		}
	}
	return "", false
}

func unknownTopic(root *cobra.Command, words []string) error {
	var known []string
	for _, c := range root.Commands() {
		known = append(known, c.Name())
	}
	for _, t := range manual.Topics() {
		known = append(known, t.Name)
	}
	way := "trueturn --help lists both"
	if near := nearest(words[0], known); near != "" {
		way = fmt.Sprintf("did you mean %s?", near)
	}
	return usage("there is no command or topic "+quote(strings.Join(words, " ")), way, nil)
}

// helpWords completes the words after help: commands, theirs, and chapters.
func helpWords(c *cobra.Command, words []string, typed string) (found []string, _ cobra.ShellCompDirective) {
	offer := func(name, about string) {
		if strings.HasPrefix(name, typed) {
			found = append(found, cobra.CompletionWithDesc(name, about))
		}
	}
	if above, rest, err := c.Root().Find(words); err == nil && len(rest) == 0 {
		for _, below := range above.Commands() {
			if below.IsAvailableCommand() {
				offer(below.Name(), below.Short)
			}
		}
	}
	if len(words) == 0 {
		for _, t := range manual.Topics() {
			offer(t.Name, t.About)
		}
	}
	return found, cobra.ShellCompDirectiveNoFileComp
}

// helpColumns is how wide help is written: a terminal's usual width, whatever it is read on.
const helpColumns = 80

// layOut has help written within helpColumns, each command's with the flags that act there, the root's with the chapters below.
func layOut(root *cobra.Command) {
	root.SetUsageFunc(func(c *cobra.Command) error {
		w := c.OutOrStderr()
		_, err := fmt.Fprint(w, usageText(c))
		return err
	})
	root.SetHelpFunc(func(c *cobra.Command, _ []string) {
		text := c.Long
		if text == "" {
			text = c.Short
		}
		fmt.Fprintf(c.OutOrStdout(), "%s\n\n%s", reflowed(text), usageText(c))
	})
}

// reflowed has paragraphs broken anew at helpColumns; paragraphs with lines that begin with a blank stand as they are.
func reflowed(text string) string {
	var out []string
	for _, p := range strings.Split(strings.TrimSpace(text), "\n\n") {
		if strings.HasPrefix(p, " ") || strings.Contains(p, "\n ") {
			out = append(out, p)
			continue
		}
		out = append(out, strings.Join(wrap(strings.Join(strings.Fields(p), " "), helpColumns), "\n"))
	}
	return strings.Join(out, "\n\n")
}

// usageText is how a command is typed: its line, an example, what stands below it, its flags and of the global ones those that act there.
func usageText(c *cobra.Command) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Usage:\n  %s\n", c.UseLine())
	if c.HasExample() {
		fmt.Fprintf(&b, "\nExamples:\n%s\n", c.Example)
	}
	if c.HasAvailableSubCommands() {
		b.WriteString("\nCommands:\n")
		for _, below := range c.Commands() {
			if below.IsAvailableCommand() || below.Name() == "help" {
				fmt.Fprintf(&b, "  %-12s%s\n", below.Name(), below.Short)
			}
		}
	}
	b.WriteString(flagsText("Flags", c.LocalFlags()))
	b.WriteString(flagsText("Global flags", acting(c)))
	if !c.HasParent() {
		b.WriteString("\nThe manual, by trueturn help TOPIC:\n")
		for _, t := range manual.Topics() {
			fmt.Fprintf(&b, "  %-13s%s\n", t.Name, t.About)
		}
	}
	return b.String()
}

func flagsText(title string, fs *pflag.FlagSet) string {
	if !fs.HasAvailableFlags() {
		return ""
	}
	return "\n" + title + ":\n" + strings.TrimRight(fs.FlagUsagesWrapped(helpColumns), "\n") + "\n"
}

// idle are the global flags that do nothing in a command, by its path below the root.
var idle = map[string][]string{
	"pole":       {"camera", "lens", "mount"},
	"demo":       {"camera", "lens", "mount", "at-site", "kit"},
	"help":       {"site", "camera", "lens", "mount", "at-site", "kit", "json"},
	"completion": {"site", "camera", "lens", "mount", "at-site", "kit", "json"},
	"kit show":   {"site", "camera", "lens", "mount", "at-site"},
	"kit check":  {"site", "camera", "lens", "mount", "at-site"},
	"kit":        {"site", "camera", "lens", "mount", "at-site"},
}

// acting are the global flags that do something in a command.
func acting(c *cobra.Command) *pflag.FlagSet {
	path := strings.TrimPrefix(c.CommandPath(), c.Root().Name()+" ")
	some := pflag.NewFlagSet("", pflag.ContinueOnError)
	some.SortFlags = false
	c.InheritedFlags().VisitAll(func(f *pflag.Flag) {
		if !slices.Contains(idle[path], f.Name) {
			some.AddFlag(f)
		}
	})
	return some
}
