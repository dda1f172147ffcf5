//go:build !js

package frame

// MostBytes is the memory one picture may take while it is read, decoder and
// plane together: what a small computer beside a tripod can spare (our choice;
// no source). What would take more is refused before it is set aside.
const MostBytes = 1_000_000_000

// givesBack: the system takes back what is not used any more.
const givesBack = true
