package disk

import (
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"trueturn/cmd/session/store"
	"trueturn/ephem/amiss"
)

const (
	inboxFolder = "inbox"
	sentEnding  = ".sent"
	// PartEnding is that of a picture on its way.
	PartEnding = ".part"
	// NameBytes bounds what a picture is shown as.
	NameBytes = 120
	nameless  = "picture"
)

// Pictures sent by browsers go by none of their names: each file is called by a number, chance and, coded, what it is to
// be shown as.

// readInbox lists, or makes, the inbox. What was cut off by a crash is removed.
func readInbox(dir string) (list []store.Picture, err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, cannotReceive(err)
	}
	entries, err := os.ReadDir(dir) // sorted, so by the time of arrival
	if err != nil {
		return nil, cannotReceive(err)
	}
	for _, e := range entries {
		path := filepath.Join(dir, e.Name())
		if strings.HasSuffix(e.Name(), PartEnding) {
			os.Remove(path)
			continue
		}
		info, err := e.Info()
		name, known := ShownName(e.Name())
		if err == nil && known && info.Mode().IsRegular() {
			list = append(list, store.Picture{Name: name, At: path, Size: info.Size(), Mod: info.ModTime(), Sent: true})
		}
	}
	return list, nil
}

func cannotReceive(err error) error {
	return &amiss.Error{Text: "there is no place to put pictures sent to the page: " + amiss.Plain(err).Error(), Ways: Elsewhere(err), From: err}
}

// SentName is what a file is called that is shown as name.
func SentName(at time.Time, name string) string {
	return fmt.Sprintf("%d-%s-%s%s", at.UnixNano(), rand.Text()[:8], base64.RawURLEncoding.EncodeToString([]byte(name)), sentEnding)
}

// ShownName is the reverse.
func ShownName(file string) (string, bool) {
	rest, ours := strings.CutSuffix(file, sentEnding)
	parts := strings.SplitN(rest, "-", 3)
	if !ours || len(parts) != 3 {
		return "", false
	}
	name, err := base64.RawURLEncoding.DecodeString(parts[2])
	return CleanName(string(name)), err == nil
}

// CleanName is what a name somebody sent is shown as: no folders, nothing unprintable, nothing that
// turns the writing round, not too long.
func CleanName(sent string) string {
	sent = strings.ToValidUTF8(sent[strings.LastIndexAny(sent, `/\`)+1:], "")
	name := strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case !unicode.IsPrint(r):
			return -1
		}
		return r
	}, sent)
	name = strings.TrimLeft(strings.Join(strings.Fields(name), " "), ". ")
	if name == "" {
		return nameless
	}
	return Shorten(name, NameBytes)
}

// Shorten leaves a name's ending on.
func Shorten(name string, most int) string {
	if len(name) <= most {
		return name
	}
	ending := filepath.Ext(name)
	if len(ending) > 10 {
		ending = ""
	}
	keep := most - len(ending) - len("…")
	for keep > 0 && !utf8.RuneStart(name[keep]) {
		keep--
	}
	return name[:keep] + "…" + ending
}
