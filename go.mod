module trueturn

go 1.26.8

require (
	github.com/soniakeys/unit v1.0.0
	gonum.org/v1/gonum v0.17.0
)

require (
	codeberg.org/astrogo/fitsio v0.4.0 // indirect
	github.com/bep/imagemeta v1.0.1 // indirect
	github.com/google/go-cmp v0.7.0 // indirect
	github.com/inconshreveable/mousetrap v1.1.0 // indirect
	github.com/rogpeppe/go-internal v1.16.0 // indirect
	github.com/soniakeys/meeus/v3 v3.0.1 // indirect
	github.com/spf13/cobra v1.10.2 // indirect
	github.com/spf13/pflag v1.0.9 // indirect
	golang.org/x/image v0.47.0 // indirect
	golang.org/x/sync v0.25.0 // indirect
	golang.org/x/sys v0.50.0 // indirect
	golang.org/x/term v0.48.0 // indirect
	golang.org/x/text v0.43.0 // indirect
)
