package face

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// asProgram makes the test binary behave as trueturn itself.
const asProgram = "TRUETURN_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		asTrueturn()
	}
	testscript.Main(m, map[string]func(){"trueturn": asTrueturn})
}

func asTrueturn() { os.Exit(Run(os.Args[1:], os.Stdout, os.Stderr)) }

// TestScripts runs the sessions in testdata, one file a theme, successes and
// failures side by side. Besides testscript's own commands they use
//
//	exits CODE PROGRAM ARG…   run a program that must end with this exit code
//	cut FILE BYTES            shorten a file
//	dark FILE                 make a PNG without a star
//
// and those of live_test.go.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata",
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"exits": exits, "cut": cut, "dark": dark, "lamps": lamps,
			"live": live, "get": get, "send": send, "until": until, "halt": halt,
		},
	})
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE PROGRAM ARG…")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	var exit *exec.ExitError
	if err := ts.Exec(args[1], args[2:]...); errors.As(err, &exit) {
		got = exit.ExitCode()
	} else {
		ts.Check(err)
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d", got, want)
	}
}

func cut(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: cut FILE BYTES")
	}
	n, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	ts.Check(os.Truncate(ts.MkAbs(args[0]), n))
}

func dark(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: dark FILE")
	}
	var b bytes.Buffer
	ts.Check(png.Encode(&b, image.NewGray(image.Rect(0, 0, 300, 200))))
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), b.Bytes(), 0o644))
}

// lamps draws a dozen lights, each of another width.
func lamps(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: lamps FILE")
	}
	g := image.NewGray(image.Rect(0, 0, 400, 300))
	for i := range 12 {
		x, y, width := 40+90*(i%4), 50+90*(i/4), 1+float64(i)/3
		for j := range g.Pix {
			dx, dy := float64(j%400-x), float64(j/400-y)
			g.Pix[j] += uint8(150 * math.Exp(-(dx*dx+dy*dy)/(2*width*width)))
		}
	}
	for j := range g.Pix { // a grey evening, none too even
		g.Pix[j] += uint8(30 + (j*j/7)%5)
	}
	var b bytes.Buffer
	ts.Check(png.Encode(&b, g))
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), b.Bytes(), 0o644))
}

// program is trueturn as a process of its own, in a folder.
func program(t *testing.T, dir string, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithTimeout(t.Context(), 9*time.Minute) // ends one that hangs
	t.Cleanup(stop)
	c := exec.CommandContext(ctx, self, args...)
	c.Dir = dir
	c.Env = append(os.Environ(), asProgram+"=1", "TMPDIR="+dir, "GOCOVERDIR="+t.TempDir())
	return c
}

// runJSON runs trueturn and reads the JSON it prints.
func runJSON(t *testing.T, dir string, into any, args ...string) {
	t.Helper()
	c := program(t, dir, args...)
	var out, warnings bytes.Buffer
	c.Stdout, c.Stderr = &out, &warnings
	if err := c.Run(); err != nil {
		t.Fatalf("trueturn %v: %v\n%s", args, err, warnings.String())
	}
	if err := json.Unmarshal(out.Bytes(), into); err != nil {
		t.Fatalf("trueturn %v: %v\n%s", args, err, out.String())
	}
}

// TestInterrupt: Ctrl-C ends every long command promptly with 130, and leaves
// neither half a file nor a temporary folder.
func TestInterrupt(t *testing.T) {
	t.Parallel()
	prepared := t.TempDir()
	if out, err := program(t, prepared, "simulate", "--site", "46,7.75", "--count", "20", "--megapixels", "2", "--out", "p").CombinedOutput(); err != nil {
		t.Fatalf("simulate: %v\n%s", err, out)
	}
	// The word about it tells that align has begun.
	if err := os.WriteFile(filepath.Join(prepared, "p", "notes.txt"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		name string
		args []string
		// begun is a sign of life in the working folder: work is under way.
		begun string
		// kept is what may be found there afterwards.
		kept string
	}{
		{"demo", []string{"demo"}, "trueturn-demo-*/before/*.jpg", ""},
		{"simulate", []string{"simulate", "--site", "46,7.75", "--count", "50", "--out", "p"}, "p/*.jpg", "p/[st]*"}, // with truth.json
		{"align", []string{"align", "--site", "46,7.75", filepath.Join(prepared, "p")}, onStderr, ""},
		{"subs", []string{"subs", "--csv", "t.csv", "--report", "r.html", filepath.Join(prepared, "p")}, onStderr, ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			dir := t.TempDir()
			c := program(t, dir, row.args...)
			said, err := c.StderrPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			if row.begun == onStderr {
				said.Read(make([]byte, 1))
			} else {
				await(t, filepath.Join(dir, row.begun))
			}
			if err := c.Process.Signal(os.Interrupt); err != nil {
				t.Fatal(err)
			}
			before := processorTime(c.Process.Pid)
			words, _ := io.ReadAll(said)
			c.Wait()
			if code := c.ProcessState.ExitCode(); code != exitInterrupted {
				t.Errorf("exit code %d (%v), want %d\n%s", code, c.ProcessState, exitInterrupted, words)
			}
			// A picture's worth of work may be finished, a whole run not. Counted in the process's own work: machines may be busy.
			if took := c.ProcessState.UserTime() + c.ProcessState.SystemTime() - before; took > 10*time.Second {
				t.Errorf("worked for %v more", took)
			}
			onlyWhole(t, dir, row.kept)
		})
	}
}

// processorTime is what a process has used so far; 0 where the system does not tell in Linux's way (proc(5): after the name in
// brackets, fields 14 and 15, in hundredths of a second).
func processorTime(pid int) time.Duration {
	text, _ := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	fields := strings.Fields(string(text[bytes.LastIndexByte(text, ')')+1:]))
	if len(fields) < 13 {
		return 0
	}
	user, _ := strconv.Atoi(fields[11])
	system, _ := strconv.Atoi(fields[12])
	return time.Duration(user+system) * 10 * time.Millisecond
}

// TestReaderGoesAway: when whoever reads the output stops doing so, the demo
// stops too and removes its temporary folder.
func TestReaderGoesAway(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	c := program(t, dir, "demo")
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	out.Read(make([]byte, 1))
	out.Close()
	c.Wait()
	if code := c.ProcessState.ExitCode(); code != exitInterrupted {
		t.Errorf("exit code %d (%v), want %d", code, c.ProcessState, exitInterrupted)
	}
	onlyWhole(t, dir, "")
}

// onStderr is the sign of life of a command that writes no files.
const onStderr = "stderr"

// await waits until a pattern matches some file.
func await(t *testing.T, pattern string) {
	t.Helper()
	deadline := time.Now().Add(5 * time.Minute)
	for time.Now().Before(deadline) {
		time.Sleep(20 * time.Millisecond)
		if found, _ := filepath.Glob(pattern); len(found) > 0 {
			return
		}
	}
	t.Fatalf("%s never came", pattern)
}

// onlyWhole checks that a folder holds nothing but files that match a pattern, and
// that those that are JPEG are whole.
func onlyWhole(t *testing.T, dir, pattern string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		if ok, _ := filepath.Match(filepath.Join(dir, pattern), path); !ok {
			t.Errorf("left behind: %s", path)
			return nil
		}
		if filepath.Ext(path) != ".jpg" {
			return nil
		}
		raw, err := os.ReadFile(path)
		// FF D9 ends a JPEG: ITU-T T.81, table B.1, EOI.
		if !bytes.HasSuffix(raw, []byte{0xff, 0xd9}) {
			t.Errorf("not whole: %s", path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if found, _ := filepath.Glob(filepath.Join(dir, "trueturn-demo-*")); len(found) > 0 {
		t.Errorf("left behind: %v", found)
	}
}
