package face

import (
	"cmp"
	"runtime/debug"
	"strings"
)

// noted is what the linker was told of the commit where the Go command does not note it (cmd/release): settings as those of
// debug.BuildInfo, parted by blanks. A build that notes its commit has it empty.
var noted string

// version is what the build knows of itself.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "(built without notes on itself)"
	}
	return versionOf(info, noted)
}

// versionOf is the version, and the commit it was built from where the build noted one: go build
// does in a checkout, go run only when asked by -buildvcs=true.
func versionOf(info *debug.BuildInfo, noted string) string {
	told := map[string]string{}
	for _, s := range strings.Fields(noted) {
		key, value, _ := strings.Cut(s, "=")
		told[key] = value
	}
	for _, s := range info.Settings {
		told[s.Key] = s.Value
	}
	name := strings.Trim(cmp.Or(info.Main.Version, "(devel)"), "()")
	commit := told["vcs.revision"]
	if commit == "" {
		return name + ", commit not noted by this build"
	}
	commit = commit[:min(12, len(commit))]
	day, _, _ := strings.Cut(told["vcs.time"], "T")
	said := name + ", commit " + commit
	if day != "" {
		said += " of " + day
	}
	if told["vcs.modified"] == "true" {
		said += ", with changes since"
	}
	return said
}
