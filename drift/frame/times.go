package frame

// Times holds clocks read from a table, by the base name of the picture.
type Times map[string]Clock
