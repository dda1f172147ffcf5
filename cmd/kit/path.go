package kit

import (
	"os"
	"path/filepath"
)

// Path is where the kit is kept: trueturn/kit.toml in $XDG_CONFIG_HOME, which must be absolute
// to count (XDG Base Directory Specification 0.8), else in the system's folder for settings.
func Path() (string, error) {
	dir, err := os.Getenv("XDG_CONFIG_HOME"), error(nil)
	switch {
	case filepath.IsAbs(dir):
	case dir == "":
		dir, err = os.UserConfigDir()
	default:
		dir, err = os.UserHomeDir()
		dir = filepath.Join(dir, ".config")
	}
	if err != nil {
		return "", err
	}
	return filepath.Join(dir, "trueturn", "kit.toml"), nil
}
