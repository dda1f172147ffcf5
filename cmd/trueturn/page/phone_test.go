package page

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestPhoneHandedOut: where the page for the phone alone is there it is linked and comes whole, as a file to keep; where it is
// not, the page says how to build one and nothing is linked that does not come.
func TestPhoneHandedOut(t *testing.T) {
	content := "<!DOCTYPE html>\n" + strings.Repeat("page ", 1<<20)
	path := filepath.Join(t.TempDir(), "trueturn.html")
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	const link, build = `<a href="trueturn.html" download>`, "go run ./cmd/phone --out DIR"
	for _, row := range []struct {
		name, file  string
		status      int
		says, lacks string
	}{
		{"there", path, http.StatusOK, link, build},
		{"none", "", http.StatusNotFound, build, link},
		{"gone since", path + ".gone", http.StatusNotFound, link, build},
		{"a folder", filepath.Dir(path), http.StatusNotFound, link, build},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := serve(t, func(o *Options) { o.Phone = row.file })
			if _, text := s.do("GET", "", nil); !strings.Contains(text, row.says) || strings.Contains(text, row.lacks) {
				t.Errorf("the page should say %q and not %q", row.says, row.lacks)
			}
			for _, method := range []string{"GET", "HEAD"} {
				r, text := s.do(method, "trueturn.html", nil)
				if r.StatusCode != row.status {
					t.Errorf("%s: status %d, want %d", method, r.StatusCode, row.status)
				}
				if row.status != http.StatusOK {
					continue
				}
				if got := r.Header.Get("Content-Disposition"); got != `attachment; filename="trueturn.html"` || r.ContentLength != int64(len(content)) {
					t.Errorf("%s: %q, %d bytes", method, got, r.ContentLength)
				}
				if method == "GET" && text != content {
					t.Errorf("%d bytes came, other ones", len(text))
				}
			}
		})
	}
}
