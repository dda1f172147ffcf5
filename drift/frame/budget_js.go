package frame

// MostBytes is the memory one picture may take while it is read, decoder and
// plane together: a third of what a program of its own may take, for a page
// shares 4 GB of addresses with the files chosen and never gives memory back.
// What would take more is refused before it is set aside.
const MostBytes = 333_000_000

// givesBack: what was once taken stays taken; it is used again where it is large
// enough.
const givesBack = false
