// Command phone is the whole tool on a phone alone, offline: the engine built for a browser, and what builds it.
//
//	go run ./cmd/phone --out DIR            a folder that any https host serves, and DIR/trueturn.html, all of it in one file
//	go run ./cmd/phone --serve 127.0.0.1:8080   the folder, built and served to this machine
//
// Nothing but Go is needed. In the browser it is three parties:
//
//	page.js     the one front end, that of `trueturn live` (cmd/session/web)
//	line.js     takes pictures to the store, and words from the worker to the page
//	worker.js   a worker with the engine (engine_js.go): trueturn/cmd/session over the browser's database (store_js.go)
//
// The store (store.js) is IndexedDB with strict durability: a picture's bytes are in it before the page says that it was
// taken, and leave it when its line is in the journal. So a kill at any instant loses nothing. Where a browser keeps nothing
// (an opaque origin, a private window) it is memory, and the page says so.
package main
