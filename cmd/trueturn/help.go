package main

import (
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"trueturn/cmd/trueturn/manual"
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

// listTopics puts the chapters below the list of commands.
func listTopics(root *cobra.Command) {
	usual := root.UsageFunc()
	root.SetUsageFunc(func(c *cobra.Command) error {
		if err := usual(c); err != nil || c.HasParent() {
			return err
		}
		w := tabwriter.NewWriter(c.OutOrStderr(), 0, 0, 2, ' ', 0)
		fmt.Fprint(w, "\nThe manual, by trueturn help TOPIC:\n")
		for _, t := range manual.Topics() {
			fmt.Fprintf(w, "  %s\t%s\n", t.Name, t.About)
		}
		return w.Flush()
	})
}
