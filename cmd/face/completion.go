package face

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"trueturn/cmd/kit"
)

const completionText = `Writes the script that lets your shell complete commands, flags, their words, and the names
in your kit, when you press the tab key. Load it in each shell, or once from the file
the shell reads when it starts.`

const completionExample = `  source <(trueturn completion bash)
  trueturn completion zsh > "${fpath[1]}/_trueturn"
  trueturn completion fish > ~/.config/fish/completions/trueturn.fish
  trueturn completion powershell | Out-String | Invoke-Expression`

var shells = []string{"bash", "zsh", "fish", "powershell"}

func (f *face) completionCommand() *cobra.Command {
	return &cobra.Command{
		Use:       "completion bash|zsh|fish|powershell",
		Short:     "the script that completes words in your shell",
		Long:      completionText,
		Example:   completionExample,
		ValidArgs: shells,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 || !slices.Contains(shells, args[0]) {
				return usage("completion needs one shell", "choose bash, zsh, fish or powershell", nil)
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			switch args[0] {
			case "bash":
				return c.Root().GenBashCompletionV2(f.out, true)
			case "zsh":
				return c.Root().GenZshCompletion(f.out)
			case "fish":
				return c.Root().GenFishCompletion(f.out, true)
			}
			return c.Root().GenPowerShellCompletionWithDesc(f.out)
		},
	}
}

// complete tells the shell what may follow a flag: a name of the kit, a choice of words, nothing
// it could know, or a file.
func (f *face) complete(root *cobra.Command) {
	for _, s := range sections {
		root.RegisterFlagCompletionFunc(s.flag, f.namesOf(s.section))
	}
	f.completeBelow(root)
	root.RegisterFlagCompletionFunc("site", cobra.NoFileCompletions)
}

// completeBelow does so for the commands of a command, and theirs.
func (f *face) completeBelow(parent *cobra.Command) {
	for _, c := range parent.Commands() {
		f.completeBelow(c)
		if c.ValidArgs == nil && !strings.Contains(c.Use, "FRAMES") && !strings.Contains(c.Use, "DIR]") {
			c.ValidArgsFunction = cobra.NoFileCompletions
		}
		c.Flags().VisitAll(func(flag *pflag.Flag) {
			kind, _ := pflag.UnquoteUsage(flag)
			switch {
			case strings.Contains(kind, "FILE") || strings.Contains(kind, "DIR"):
			case strings.Contains(kind, "|") && strings.ToLower(kind) == kind:
				c.RegisterFlagCompletionFunc(flag.Name, cobra.FixedCompletions(strings.Split(kind, "|"), cobra.ShellCompDirectiveNoFileComp))
			default:
				c.RegisterFlagCompletionFunc(flag.Name, cobra.NoFileCompletions) // refused where the command has its own
			}
		})
	}
}

// namesOf completes a name of the kit; a broken kit completes nothing.
func (f *face) namesOf(s kit.Section) cobra.CompletionFunc {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		k, err := f.gear.load()
		if err != nil {
			cobra.CompDebugln(err.Error(), false)
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return k.Names(s), cobra.ShellCompDirectiveNoFileComp
	}
}
