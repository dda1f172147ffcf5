package heic

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"trueturn/drift/frame"
	"trueturn/ephem/amiss"
)

const fixture = "../../../drift/frame/testdata/any_encoded.heic"

func decode(t *testing.T, ctx context.Context, name string) (frame.Frame, error) {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return frame.Decode(bytes.NewReader(b), frame.Options{Show: Shower(ctx)})
}

// TestDecoded compares a HEIC picture, decoded by what this computer has, with PIL's luma of the PNG that libheif 1.15.1 makes
// of it (any_heic.txt). Nothing is left behind.
func TestDecoded(t *testing.T) {
	if _, _, ok := find(); !ok {
		t.Skip("this computer has no decoder of HEIC: install Debian's libheif-examples")
	}
	// JPEG of the best quality, of a picture of hard colour edges, which lose more than a sky: one sigma, and at most.
	const scatter, most = 1.0, 6.0
	t.Setenv("TMPDIR", t.TempDir())
	text, err := os.ReadFile("../../../drift/frame/testdata/any_heic.txt")
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Fields(strings.SplitN(string(text), "\n", 3)[1])
	f, err := decode(t, context.Background(), fixture)
	if err != nil {
		t.Fatal(err)
	}
	if fmt.Sprint(f.Plane.Width) != want[1] || fmt.Sprint(f.Plane.Height) != want[2] || f.ClockErr != nil || f.Lens.FocalLengthMM != 6.86 {
		t.Fatalf("%d×%d, clock %v, lens %+v", f.Plane.Width, f.Plane.Height, f.ClockErr, f.Lens)
	}
	sum := 0.0
	for i, w := range want[3:] {
		v, err := strconv.ParseFloat(w, 64)
		if err != nil {
			t.Fatal(err)
		}
		d := coded(float64(f.Plane.Pix[i])) - v
		if sum += d * d; math.Abs(d) > most {
			t.Fatalf("pixel %d is off by %g", i, d)
		}
	}
	if rms := math.Sqrt(sum / float64(len(want)-3)); rms > scatter {
		t.Errorf("off by %g, want %g", rms, scatter)
	}
	if !strings.Contains(f.Instead, "decoded by this computer's ") {
		t.Errorf("says %q", f.Instead)
	}
	if left, _ := os.ReadDir(os.Getenv("TMPDIR")); len(left) > 0 {
		t.Errorf("leaves %v", left)
	}
}

// coded applies the curve of sRGB, IEC 61966-2-1.
func coded(v float64) float64 {
	if v <= 0.0031308 {
		return 255 * 12.92 * v
	}
	return 255 * (1.055*math.Pow(v, 1/2.4) - 0.055)
}

// TestDamagedAndNone: a picture cut short, and a computer without a decoder.
func TestDamagedAndNone(t *testing.T) {
	t.Run("cut short", func(t *testing.T) {
		if _, _, ok := find(); !ok {
			t.Skip("this computer has no decoder of HEIC")
		}
		b, err := os.ReadFile(fixture)
		if err != nil {
			t.Fatal(err)
		}
		name := filepath.Join(t.TempDir(), "cut.heic")
		if err := os.WriteFile(name, b[:len(b)/4], 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := decode(t, context.Background(), name); !errors.Is(err, frame.ErrBroken) || !strings.Contains(amiss.Voice(nil).Reason(err), "copy") {
			t.Error(err)
		}
	})
	t.Run("no decoder", func(t *testing.T) {
		t.Setenv("PATH", t.TempDir())
		_, err := decode(t, context.Background(), fixture)
		said := amiss.Voice(nil).Reason(err)
		if !errors.Is(err, frame.ErrUnsupported) || !strings.Contains(said, "set the camera to save JPEG") || runtime.GOOS != "windows" && !strings.Contains(said, "heif-convert") {
			t.Error(said)
		}
	})
}

// TestPretenders: programs by the decoder's name that fail, hang, write without end or something else, and one that works.
func TestPretenders(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("the pretenders are shell scripts")
	}
	sh, err := exec.LookPath("sh")
	if err != nil {
		t.Skip("no shell")
	}
	good := filepath.Join(t.TempDir(), "good.jpg")
	if err := os.WriteFile(good, jpegOf(t, 96, 64, 77), 0o600); err != nil {
		t.Fatal(err)
	}
	small := filepath.Join(t.TempDir(), "small.jpg")
	if err := os.WriteFile(small, jpegOf(t, 8, 8, 77), 0o600); err != nil {
		t.Fatal(err)
	}
	path := os.Getenv("PATH")
	for _, c := range []struct{ name, script, says string }{
		{"works", `cp ` + good + ` "$4"`, ""},
		{"numbers its pictures", `cp ` + good + ` "${4%.jpg}-1.jpg"`, ""},
		{"works on a copy nobody else may read", `case $(ls -ld .) in drwx------*) cp ` + good + ` "$4";; esac`, ""},
		{"fails", `echo "no plugin for HEVC" >&2; exit 3`, "no plugin for HEVC"},
		{"makes nothing", `exit 0`, "no such file"},
		{"makes another size", `cp ` + small + ` "$4"`, "8×8 pixels of 96×64"},
		{"makes no JPEG", `echo hello > "$4"`, "JPEG"},
		{"writes too much", `dd if=/dev/zero of="$4" bs=1048576 count=3 2>/dev/null`, "more than a picture takes"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir, tmp := t.TempDir(), t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, "heif-dec"), []byte("#!"+sh+"\n"+c.script+"\n"), 0o700); err != nil {
				t.Fatal(err)
			}
			t.Setenv("PATH", dir+string(os.PathListSeparator)+path)
			t.Setenv("TMPDIR", tmp)
			f, err := decode(t, context.Background(), fixture)
			if c.says == "" {
				if err != nil || math.Abs(coded(float64(f.Plane.Pix[100]))-77) > 1 {
					t.Errorf("%v", err)
				}
			} else if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("says %v, want %q", err, c.says)
			}
			if left, _ := os.ReadDir(tmp); len(left) > 0 {
				t.Errorf("leaves %v", left)
			}
		})
	}
}

// TestStopped: what is running ends with the context, and a run that fills the disk is stopped while it does.
func TestStopped(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("the pretender is a shell script")
	}
	for _, c := range []struct{ name, script, says string }{
		{"hangs", `: > "$STARTED"; while :; do sleep 1; done`, "canceled"},
		{"writes without end", `while :; do dd if=/dev/zero bs=65536 count=16 2>/dev/null >> out.jpg; done`, "more than a picture takes"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			started, name := filepath.Join(dir, "started"), filepath.Join(dir, "heif-dec")
			script := "#!/bin/sh\n" + strings.ReplaceAll(c.script, "$STARTED", started) + "\n"
			if err := os.WriteFile(name, []byte(script), 0o700); err != nil {
				t.Fatal(err)
			}
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			if strings.Contains(c.script, "STARTED") {
				go func() {
					for {
						if _, err := os.Stat(started); err == nil {
							cancel()
							return
						}
						time.Sleep(time.Millisecond)
					}
				}()
			}
			d := decoder{"heif-dec", heifArgs}
			work := t.TempDir()
			if err := d.run(ctx, name, work, d.args("in", "out"), 1<<20-inMost); err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v, want %q", err, c.says)
			}
		})
	}
}

// TestLuma: the brightness of every layout a JPEG may have.
func TestLuma(t *testing.T) {
	for name, img := range map[string]image.Image{
		"grey":     &image.Gray{Pix: []byte{10, 20, 0, 30, 40, 0}, Stride: 3, Rect: image.Rect(0, 0, 2, 2)},
		"4:2:0":    &image.YCbCr{Y: []byte{10, 20, 30, 40}, Cb: []byte{0}, Cr: []byte{255}, YStride: 2, CStride: 1, SubsampleRatio: image.YCbCrSubsampleRatio420, Rect: image.Rect(0, 0, 2, 2)},
		"a matrix": greys{10, 20, 30, 40},
	} {
		if got := luma(img); !bytes.Equal(got, []byte{10, 20, 30, 40}) {
			t.Errorf("%s: %v", name, got)
		}
	}
}

// greys is a picture of 2×2 greys in a layout of its own.
type greys [4]byte

func (greys) ColorModel() color.Model { return color.GrayModel }
func (greys) Bounds() image.Rectangle { return image.Rect(0, 0, 2, 2) }
func (g greys) At(x, y int) color.Color {
	return color.Gray{Y: g[2*y+x]}
}

func jpegOf(t *testing.T, width, height int, grey byte) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, width, height))
	for i := range img.Pix {
		img.Pix[i] = grey
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 100}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
