package face

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"trueturn/cmd/legible"
	"trueturn/cmd/trueturn/files"
	"trueturn/ephem/amiss"
)

// toStdout in the place of a file's name has what would go there printed, and nothing else.
const toStdout = "-"

// writeFile makes a file that is either whole or not there.
func writeFile(path string, write func(io.Writer) error) error {
	err := files.Write(path, 0o644, write)
	if errors.Is(err, files.ErrDisk) {
		return cannotWrite(path, err)
	}
	return err
}

func cannotWrite(path string, err error) error {
	return failed(fmt.Sprintf("%s cannot be written: %v", quote(path), amiss.Plain(err)), files.Hint(err), err)
}

// writeJSON prints an object the way people can read it too.
func writeJSON(w io.Writer, v any) error {
	var text bytes.Buffer
	enc := json.NewEncoder(&text)
	enc.SetIndent("", " ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return err
	}
	_, err := w.Write(legible.JSON(text.Bytes()))
	return err
}
