package face

import (
	"cmp"
	"runtime/debug"
	"strings"
)

// version is what the build knows of itself.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "(built without notes on itself)"
	}
	return versionOf(info)
}

// versionOf is the version, and the commit it was built from where the build noted one: go build
// does in a checkout, go run only when asked by -buildvcs=true.
func versionOf(info *debug.BuildInfo) string {
	told := map[string]string{}
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
