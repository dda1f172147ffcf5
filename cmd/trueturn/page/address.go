package page

import (
	"cmp"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"trueturn/ephem/amiss"
)

// ErrAddress: an address to listen at that makes no sense.
var ErrAddress = errors.New("no address to listen at")

// cannotHave is why an address that makes sense cannot be had now.
func cannotHave(text, act string, from error) error {
	return &amiss.Error{Text: text, Ways: amiss.Do(act), From: from}
}

// loopback is where the page is served unless it is told otherwise: to this machine alone.
const loopback = "127.0.0.1"

// address is where to listen. Host "" is every address of the machine, port 0 a free one.
type address struct {
	host string
	port uint16
}

func (a address) String() string { return net.JoinHostPort(a.host, strconv.Itoa(int(a.port))) }

// parseAddress reads host:port, a host alone (a free port is taken) or :port (all addresses).
func parseAddress(s string) (address, error) {
	if s == "" {
		return address{host: loopback}, nil
	}
	host, port := s, "0"
	if inner, ok := strings.CutPrefix(s, "["); ok && strings.HasSuffix(inner, "]") {
		host = strings.TrimSuffix(inner, "]")
	}
	if _, err := netip.ParseAddr(host); err != nil {
		if host, port, err = split(s); err != nil {
			return address{}, err
		}
	}
	if strings.ContainsAny(host, "%/ \t\r\n@?#") {
		return address{}, badAddress(s, "not the address of a machine")
	}
	n, err := strconv.ParseUint(port, 10, 16)
	if err != nil {
		return address{}, badAddress(s, "the port is not a number from 0 to 65535")
	}
	return address{host: host, port: uint16(n)}, nil
}

// split parts host and port; a name alone is a host, a number alone is taken for neither.
func split(s string) (host, port string, err error) {
	if host, port, err = net.SplitHostPort(s); err == nil {
		return host, port, nil
	}
	if _, err := strconv.Atoi(s); err == nil {
		return "", "", amiss.New(ErrAddress, fmt.Sprintf("%q could be a host or a port", s),
			fmt.Sprintf("write :%s for all networks this machine is in, %s:%s for this machine alone", s, loopback, s))
	}
	if strings.ContainsAny(s, ":[]") {
		return "", "", badAddress(s, "not of the form host:port")
	}
	return s, "0", nil
}

func badAddress(s, why string) error {
	return amiss.New(ErrAddress, fmt.Sprintf("%q cannot be listened at: %s", s, why),
		"write host:port, as in 0.0.0.0:8080 for the network, [::1]:8080, or "+loopback+":0 for a free port")
}

// listen takes the address. A free port is, where that can be, the one the session had before:
// then browsers find their way back after a restart.
func listen(a address, before uint16) (net.Listener, error) {
	if a.port == 0 && before != 0 {
		if l, err := net.Listen("tcp", address{a.host, before}.String()); err == nil {
			return l, nil
		}
	}
	l, err := net.Listen("tcp", a.String())
	if err != nil {
		return nil, cannotListen(a, err)
	}
	return l, nil
}

func cannotListen(a address, err error) error {
	var unknown *net.DNSError
	switch {
	case errors.As(err, &unknown):
		return amiss.New(ErrAddress, fmt.Sprintf("there is no machine called %q", a.host), "write the address in numbers: "+ownAddresses())
	case errors.Is(err, syscall.EADDRINUSE):
		return cannotHave(fmt.Sprintf("port %d is in use by another program", a.port), "choose another port, or leave it out: a free one is taken then", err)
	case errors.Is(err, syscall.EACCES):
		return cannotHave(fmt.Sprintf("port %d is kept for the system's own programs", a.port), "choose a port from 1024 to 65535", err)
	case errors.Is(err, syscall.EADDRNOTAVAIL):
		return cannotHave(a.host+" is no address of this machine", "this machine has "+ownAddresses(), err)
	}
	return cannotHave(fmt.Sprintf("the page cannot be served at %v: %v", a, err), "choose another address with --listen", err)
}

func ownAddresses() string {
	var all []string
	for _, a := range append([]netip.Addr{netip.MustParseAddr(loopback)}, networkAddresses()...) {
		all = append(all, a.String())
	}
	return strings.Join(all, ", ")
}

// reach is by which numeric addresses a listener is found, best first, and whether by others
// than this machine.
func reach(l net.Listener) (hosts []netip.AddrPort, shared bool) {
	own := l.Addr().(*net.TCPAddr).AddrPort()
	addr, port := own.Addr().Unmap(), own.Port()
	if !addr.IsUnspecified() {
		return []netip.AddrPort{netip.AddrPortFrom(addr, port)}, !addr.IsLoopback()
	}
	for _, a := range networkAddresses() {
		if own.Addr().Is4() && !a.Is4() {
			continue
		}
		hosts = append(hosts, netip.AddrPortFrom(a, port))
	}
	return append(hosts, netip.AddrPortFrom(netip.MustParseAddr(loopback), port)), true
}

// networkAddresses are the addresses others reach this machine by, the likeliest first: private
// IPv4 of the interface that leads out, other private ones, then the rest. Addresses that need
// the name of an interface beside them (IPv6 fe80::) are of no use in a browser.
func networkAddresses() []netip.Addr {
	interfaces, err := net.Interfaces()
	if err != nil {
		return nil
	}
	var found []netip.Addr
	for _, i := range interfaces {
		if i.Flags&net.FlagUp == 0 || i.Flags&(net.FlagLoopback|net.FlagPointToPoint) != 0 {
			continue
		}
		on, _ := i.Addrs()
		for _, a := range on {
			if p, err := netip.ParsePrefix(a.String()); err == nil && usable(p.Addr()) {
				found = append(found, p.Addr())
			}
		}
	}
	out := outward()
	slices.SortStableFunc(found, func(a, b netip.Addr) int { return cmp.Compare(rank(a, out), rank(b, out)) })
	return slices.Compact(found)
}

func usable(a netip.Addr) bool {
	return a.IsGlobalUnicast() || a.Is4() && a.IsLinkLocalUnicast() // two machines on one cable
}

func rank(a, outward netip.Addr) int {
	switch {
	case a == outward && a.IsPrivate():
		return 0
	case a.Is4() && a.IsPrivate():
		return 1
	case a.Is4() && !a.IsLinkLocalUnicast():
		return 2
	case a.Is4():
		return 3
	}
	return 4
}

// outward is the address of the interface that leads to other networks, if one does. Nothing is
// sent: 192.0.2.1 is an address of documentation (RFC 5737) that only serves to ask for the way.
func outward() netip.Addr {
	c, err := net.Dial("udp4", "192.0.2.1:9")
	if err != nil {
		return netip.Addr{}
	}
	defer c.Close()
	return c.LocalAddr().(*net.UDPAddr).AddrPort().Addr()
}
