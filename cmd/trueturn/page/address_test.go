package page

import (
	"errors"
	"net"
	"net/netip"
	"strings"
	"testing"
)

// TestParseAddress is what may stand after --listen.
func TestParseAddress(t *testing.T) {
	for _, row := range []struct{ given, want string }{
		{"", "127.0.0.1:0"},
		{"127.0.0.1", "127.0.0.1:0"},
		{"127.0.0.1:8080", "127.0.0.1:8080"},
		{"0.0.0.0:8080", "0.0.0.0:8080"},
		{"0.0.0.0", "0.0.0.0:0"},
		{":8080", ":8080"},
		{":0", ":0"},
		{"localhost", "localhost:0"},
		{"localhost:8080", "localhost:8080"},
		{"::1", "[::1]:0"},
		{"[::1]", "[::1]:0"},
		{"[::1]:8080", "[::1]:8080"},
		{"::", "[::]:0"},
		{"[::]:65535", "[::]:65535"},

		{"8080", "*"},
		{"127.0.0.1:", "*"},
		{"127.0.0.1:x", "*"},
		{"127.0.0.1:-1", "*"},
		{"127.0.0.1:65536", "*"},
		{"127.0.0.1:80:80", "*"},
		{"127.0.0.1:http", "*"}, // ports have names, but who would write it
		{"[::1", "*"},
		{"::1]:80", "*"},
		{"fe80::1%eth0", "*"}, // no browser takes the zone: RFC 6874 was given up
		{"http://127.0.0.1:80", "*"},
		{"127.0.0.1/8:80", "*"},
		{"me@127.0.0.1:80", "*"},
		{"two words:80", "*"},
	} {
		a, err := parseAddress(row.given)
		if row.want != "*" {
			if err != nil || a.String() != row.want {
				t.Errorf("%q is %q, %v; want %q", row.given, a, err, row.want)
			}
			continue
		}
		if !errors.Is(err, ErrAddress) || hintOf(err) == "" {
			t.Errorf("%q is %q, %v; want an error with a hint", row.given, a, err)
		}
	}
}

// TestListenErrors: each cause in words of its own. Addresses that can be nobody's are of RFC 5737, names of RFC 6761.
func TestListenErrors(t *testing.T) {
	used, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer used.Close()
	for _, row := range []struct {
		name, at, text string
		usage          bool
	}{
		{"in use", used.Addr().String(), "in use", false},
		{"not ours", "203.0.113.7:8080", "no address of this machine", false},
		{"no such name", "nowhere.invalid:8080", "no machine called", true},
	} {
		t.Run(row.name, func(t *testing.T) {
			a, err := parseAddress(row.at)
			if err != nil {
				t.Fatal(err)
			}
			_, err = listen(a, 0)
			if err == nil || !strings.Contains(err.Error(), row.text) || hintOf(err) == "" || errors.Is(err, ErrAddress) != row.usage {
				t.Errorf("%v, hint %q", err, hintOf(err))
			}
		})
	}
}

// TestListenAsBefore: a free port is the one there was before, if it is still free.
func TestListenAsBefore(t *testing.T) {
	l, err := listen(address{host: loopback}, 0)
	if err != nil {
		t.Fatal(err)
	}
	port := l.Addr().(*net.TCPAddr).AddrPort().Port()
	other, err := listen(address{host: loopback}, port)
	if err != nil {
		t.Fatal(err)
	}
	if got := other.Addr().(*net.TCPAddr).AddrPort().Port(); got == port {
		t.Errorf("port %d twice", got)
	}
	other.Close()
	l.Close()
	again, err := listen(address{host: loopback}, port)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if got := again.Addr().(*net.TCPAddr).AddrPort().Port(); got != port {
		t.Errorf("port %d, before %d", got, port)
	}
}

// TestReach: a listener at one address is found there alone, one at all addresses by those of the network first and by
// this machine's own last.
func TestReach(t *testing.T) {
	for _, row := range []struct {
		at     string
		shared bool
	}{{"127.0.0.1:0", false}, {"[::1]:0", false}, {"0.0.0.0:0", true}, {":0", true}} {
		t.Run(row.at, func(t *testing.T) {
			l, err := net.Listen("tcp", row.at)
			if err != nil {
				t.Skipf("this machine cannot: %v", err)
			}
			defer l.Close()
			hosts, shared := reach(l)
			if shared != row.shared {
				t.Errorf("shared %v, want %v", shared, row.shared)
			}
			for i, h := range hosts {
				if h.Port() != l.Addr().(*net.TCPAddr).AddrPort().Port() || h.Addr().IsUnspecified() || h.Addr().Zone() != "" {
					t.Errorf("reached at %v", h)
				}
				if last := i == len(hosts)-1; h.Addr().IsLoopback() != last {
					t.Errorf("%d of %d is %v", i+1, len(hosts), h)
				}
				c, err := net.Dial("tcp", h.String())
				if err != nil {
					t.Errorf("not reached at %v: %v", h, err)
					continue
				}
				c.Close()
			}
		})
	}
}

// TestRank: what a phone in the same network is likeliest to reach comes first. Private addresses are those of RFC 1918 and
// RFC 4193, link-local of RFC 3927.
func TestRank(t *testing.T) {
	out := netip.MustParseAddr("10.0.0.5")
	want := []string{"10.0.0.5", "192.168.43.7", "203.0.113.7", "169.254.1.1", "fd00::7"}
	for i := 1; i < len(want); i++ {
		a, b := netip.MustParseAddr(want[i-1]), netip.MustParseAddr(want[i])
		if rank(a, out) >= rank(b, out) {
			t.Errorf("%v does not come before %v", a, b)
		}
	}
}
