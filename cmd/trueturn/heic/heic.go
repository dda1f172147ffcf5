// Package heic lends package frame the decoder of HEIC pictures that the system has: no codec is linked in.
//
// The decoder is a program found in PATH. It works on a copy of the picture in a folder of its own that nobody else may
// read, within bounds of time and of what it writes, and hands over a JPEG of the best quality: the luma of that is within
// 0.3 of a step of 255 of the decoder's own (one sigma; libheif 1.15.1 on 12 megapixels of noise), no more than rounding to steps
// takes, and it is there in a fifth of the time of a PNG.
package heic

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"trueturn/drift/frame"
	"trueturn/ephem/amiss"
)

// decoder is a program that turns HEIC into JPEG.
type decoder struct {
	name string
	args func(in, out string) []string
}

// decoders are looked for in this order: those of libheif, and the one macOS has.
var decoders = []decoder{
	{"heif-dec", heifArgs},
	{"heif-convert", heifArgs},
	{"sips", func(in, out string) []string {
		return []string{"--setProperty", "format", "jpeg", "--setProperty", "formatOptions", "100", in, "--out", out}
	}},
}

func heifArgs(in, out string) []string { return []string{"-q", "100", in, out} }

// What the program may take.
const (
	timeMost  = 2 * time.Minute // a small computer needs some seconds for a phone's 12 megapixels
	inMost    = 512 << 20
	outMost   = 8       // bytes a pixel, more than a JPEG of noise takes,
	outExtra  = 1 << 20 // and its head
	lookEvery = 100 * time.Millisecond
)

// Shower decodes with the program the system has. The context ends a program that is running.
func Shower(ctx context.Context) frame.Shower {
	return func(file io.Reader, width, height int) (frame.Shown, error) {
		d, path, ok := find()
		if !ok {
			return frame.Shown{}, amiss.New(frame.ErrUnsupported, "the file is a HEIC picture, which is not read", hint())
		}
		return d.show(ctx, path, file, width, height)
	}
}

// find looks in PATH, and never in the folder one happens to be in.
func find() (d decoder, path string, ok bool) {
	for _, d := range decoders {
		if path, err := exec.LookPath(d.name); err == nil {
			return d, path, true
		}
	}
	return decoder{}, "", false
}

// hint names the programs where the system has packages of them.
func hint() string {
	const save = "export it as JPEG, and set the camera to save JPEG for the next pictures"
	if runtime.GOOS == "windows" {
		return save
	}
	return save + "; or install heif-dec or heif-convert (Debian: the package libheif-examples)"
}

func (d decoder) show(ctx context.Context, path string, file io.Reader, width, height int) (s frame.Shown, err error) {
	dir, err := os.MkdirTemp("", "trueturn-heic-") // mode 0700
	if err != nil {
		return s, d.failed(err)
	}
	defer func() { _ = os.RemoveAll(dir) }()
	in, out := filepath.Join(dir, "in.heic"), filepath.Join(dir, "out.jpg")
	if err := keep(in, file); err != nil {
		return s, d.failed(err)
	}
	most := int64(outMost)*int64(width)*int64(height) + outExtra
	if err := d.run(ctx, path, dir, d.args(in, out), most); err != nil {
		return s, d.failed(err)
	}
	for _, name := range []string{out, filepath.Join(dir, "out-1.jpg")} { // the latter where the file has several pictures
		if s, err = read(name, width, height, most); !errors.Is(err, os.ErrNotExist) {
			break
		}
	}
	if err != nil {
		return s, d.failed(err)
	}
	s.By = "this computer's " + d.name
	return s, nil
}

// failed is of the kind that a picture has which ends too early: the rest may be on its way.
func (d decoder) failed(err error) error {
	if errors.Is(err, context.Canceled) {
		return err
	}
	return &amiss.Error{Kind: frame.ErrBroken, Text: fmt.Sprintf("this computer's %s cannot decode the HEIC picture (%v)", d.name, amiss.Plain(err)),
		Ways: amiss.Do("copy it again from the camera; if it stays the same, export it as JPEG"), From: err}
}

// keep writes the private copy.
func keep(name string, file io.Reader) error {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	n, err := io.Copy(f, io.LimitReader(file, inMost+1))
	if err == nil && n > inMost {
		err = fmt.Errorf("it has more than %d MB", inMost>>20)
	}
	return errors.Join(err, f.Close())
}

// run ends a program that takes too long or writes too much. It gets no input, no terminal and little of the environment.
func (d decoder) run(ctx context.Context, path, dir string, args []string, most int64) error {
	ctx, cancel := context.WithTimeoutCause(ctx, timeMost, fmt.Errorf("it took longer than %v", timeMost))
	defer cancel()
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	said := &head{}
	c := exec.CommandContext(ctx, path, args...)
	c.Dir, c.Stderr, c.WaitDelay = dir, said, time.Second
	c.Env = []string{"HOME=" + dir, "TMPDIR=" + dir, "PATH=" + os.Getenv("PATH"), "LC_ALL=C"}
	if root := os.Getenv("SYSTEMROOT"); root != "" { // Windows starts nothing without
		c.Env = append(c.Env, "SYSTEMROOT="+root)
	}
	go watch(ctx, dir, inMost+most, stop)
	err := c.Run()
	if cause := context.Cause(ctx); cause != nil {
		return cause
	}
	if line := said.line(); err != nil && line != "" {
		err = errors.New(line)
	}
	return err
}

// watch stops a program that fills the folder.
func watch(ctx context.Context, dir string, most int64, stop context.CancelCauseFunc) {
	t := time.NewTicker(lookEvery)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			if size(dir) > most {
				stop(errors.New("it wrote more than a picture takes"))
			}
		}
	}
}

func size(dir string) (bytes int64) {
	entries, _ := os.ReadDir(dir)
	for _, e := range entries {
		if info, err := e.Info(); err == nil {
			bytes += info.Size()
		}
	}
	return bytes
}

// head keeps the beginning of what a program says.
type head struct{ b []byte }

func (h *head) Write(b []byte) (int, error) {
	h.b = append(h.b, b[:min(len(b), 200-len(h.b))]...)
	return len(b), nil
}

func (h *head) line() string {
	line, _, _ := strings.Cut(strings.TrimSpace(string(h.b)), "\n")
	return strings.ToValidUTF8(line, "?")
}

// read takes the luma of the JPEG, which must have the size the picture says, upright or lying.
func read(name string, width, height int, most int64) (frame.Shown, error) {
	f, err := os.Open(name)
	if err != nil {
		return frame.Shown{}, err
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || info.Size() > most {
		return frame.Shown{}, errors.Join(err, errors.New("it wrote more than a picture takes"))
	}
	conf, err := jpeg.DecodeConfig(bufio.NewReader(f))
	if err != nil {
		return frame.Shown{}, err
	}
	if (conf.Width != width || conf.Height != height) && (conf.Width != height || conf.Height != width) {
		return frame.Shown{}, fmt.Errorf("it makes %d×%d pixels of %d×%d", conf.Width, conf.Height, width, height)
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return frame.Shown{}, err
	}
	img, err := jpeg.Decode(bufio.NewReader(f))
	if err != nil {
		return frame.Shown{}, err
	}
	return frame.Shown{Width: conf.Width, Height: conf.Height, Luma: luma(img)}, nil
}

// luma copies the brightness row after row.
func luma(img image.Image) []byte {
	b := img.Bounds()
	out := make([]byte, 0, b.Dx()*b.Dy())
	for y := b.Min.Y; y < b.Max.Y; y++ {
		switch img := img.(type) {
		case *image.YCbCr:
			out = append(out, img.Y[img.YOffset(b.Min.X, y):][:b.Dx()]...)
		case *image.Gray:
			out = append(out, img.Pix[img.PixOffset(b.Min.X, y):][:b.Dx()]...)
		default:
			for x := b.Min.X; x < b.Max.X; x++ {
				out = append(out, color.GrayModel.Convert(img.At(x, y)).(color.Gray).Y)
			}
		}
	}
	return out
}
