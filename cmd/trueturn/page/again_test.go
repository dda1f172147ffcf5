package page_test

import (
	"encoding/base64"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"
	"trueturn/cmd/trueturn/browsertest"
)

// TestTryAgainInChromium: a picture the program died over twice is listed with the reason, and a finger has it tried again.
func TestTryAgainInChromium(t *testing.T) {
	t.Parallel()
	b := chromium(t)
	session := filepath.Join(t.TempDir(), "session")
	content, err := os.ReadFile(newScene(t, 46).take())
	if err != nil {
		t.Fatal(err)
	}
	sent := "1795602540000000000-ABCDEFGH-" + base64.RawURLEncoding.EncodeToString([]byte("heavy.jpg")) + ".sent"
	died, err := json.Marshal(map[string]any{"kind": "trueturn trials", "version": 1, "doubted": []any{
		map[string]any{"file": "heavy.jpg", "base": sent, "sent": true, "size": len(content), "deaths": 2}}})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(session, "inbox"), 0o700); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string][]byte{"trials.json": died, "inbox/" + sent: content} {
		if err := os.WriteFile(filepath.Join(session, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	o := wanting(5 * time.Minute)
	o.SessionDir = session
	srv := serve(t, o)
	p := newTab(t, b, phone, 844)
	visit(t, srv, p)
	p.Until("it is listed with the reason", `document.querySelector('#pictures .why').textContent.includes('set aside')`)
	const button = `document.querySelector('#pictures button[aria-label="Try heavy.jpg again"]')`
	if browsertest.Eval[bool](p, `document.querySelector('#troubles li') || !document.querySelector('#reports').hidden`) {
		t.Error("the page speaks as if a picture had been measured")
	}
	p.shoot("aside")
	browsertest.Eval[any](p, button+`.click()`)
	srv.until("it is measured", func(v account) bool { return len(v.Frames) == 1 && v.Frames[0].Used && v.Live.Working == "" })
	p.Until("the button is gone", `!`+button+` && document.querySelector('#pictures .why').textContent === ''`)
	p.quiet(srv.url)
}
