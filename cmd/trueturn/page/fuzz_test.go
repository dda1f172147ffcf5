package page

import (
	"encoding/base64"
	"os"
	"path/filepath"
	"testing"
	"time"
	"trueturn/cmd/trueturn/page/disk"
)

// FuzzKept: whatever lies in a session folder under the names of its small files, it is read as what it is or as nothing,
// and an address to listen at is refused with a way out or means the same when written out.
func FuzzKept(f *testing.F) {
	for _, s := range []string{"", "{}", "null", `{"token":"AAAAAAAAAAAAAAAAAAAAAA","port":8080}`, `{"token":"../..","port":70000}`,
		`[{"base":"a.jpg","size":-1,"mod_utc":"2026-11-25T21:30:00Z"}]`, "[null]",
		":8080", "0.0.0.0:8080", "[::1]:0", "localhost", "1.2.3.4:99999", "[fe80::1%eth0]:1", "a:b:c", "http://x:1/"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		dir := t.TempDir()
		for _, name := range []string{linkFile, "past.json"} {
			if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if l := readLink(dir); l.Token != "" {
			if b, err := base64.RawURLEncoding.DecodeString(l.Token); err != nil || len(b) != tokenBytes {
				t.Errorf("token %q", l.Token)
			}
		}
		if folder, err := disk.Open(dir, ""); err != nil {
			t.Error(err)
		} else {
			folder.Past("a.jpg", -1, time.Time{})
			folder.Close()
		}
		a, err := parseAddress(string(text))
		if err != nil {
			if hintOf(err) == "" {
				t.Errorf("%q: %v without a way out", text, err)
			}
			return
		}
		if again, err := parseAddress(a.String()); err != nil || again != a {
			t.Errorf("%q means %+v, which written out means %+v, %v", text, a, again, err)
		}
	})
}
