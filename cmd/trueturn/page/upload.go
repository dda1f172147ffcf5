package page

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"strings"
	"time"

	"trueturn/cmd/session/store"
	"trueturn/cmd/words"
	"trueturn/ephem/amiss"
)

// Limits on uploads, beside those of limits.
const (
	uploadsAtOnce = 16
	picturesMost  = 300 // in one request
	partsMost     = 2 * picturesMost

	slowestUpload  = 8 << 10 // bytes a second, on the whole
	hearOutTime    = 2 * time.Second
	hearOutBytes   = 64 << 20
	pictureField   = "picture"
	bodyReadAtOnce = 64 << 10
)

// uploadJSON answers an upload: what became of every picture in it, in their order.
type uploadJSON struct {
	Files  []uploadedJSON `json:"files"`
	WhyNot string         `json:"why_not"` // what was amiss with the upload as a whole; empty: nothing
	Hint   string         `json:"hint"`
}

// uploadedJSON is one picture. File is the name it goes by from now on.
type uploadedJSON struct {
	File   string `json:"file"`
	Taken  bool   `json:"taken"`
	WhyNot string `json:"why_not"`
	Hint   string `json:"hint"`
}

// refusal is why something was not taken.
type refusal struct {
	error
	status int
}

func (r *refusal) Unwrap() error { return r.error }

func refuse(status int, text, act string) *refusal {
	return &refusal{amiss.New(nil, text, act), status}
}

// upload takes pictures as they arrive, straight to the disk. Whether they can be used is found out
// later, by measuring: what is broken is taken and listed with the reason.
func (p *Page) upload(w http.ResponseWriter, r *http.Request) {
	u := &receiving{p: p, w: w, rc: http.NewResponseController(w), body: r.Body, began: time.Now()}
	select {
	case p.uploads <- struct{}{}:
		defer func() { <-p.uploads }()
		u.amiss = u.receive(r)
	default:
		u.amiss = refuse(http.StatusServiceUnavailable, "too many uploads at once", "wait a moment and send it again")
	}
	u.answer()
}

// receiving is one upload under way.
type receiving struct {
	p     *Page
	w     http.ResponseWriter
	rc    *http.ResponseController
	body  io.ReadCloser
	began time.Time
	read  int64

	files  []uploadedJSON
	status int // of the first picture refused
	amiss  error
}

// receive reads the whole upload. The error is what was amiss with it as a whole.
func (u *receiving) receive(r *http.Request) error {
	if r.ContentLength > u.p.limits.request {
		return tooMuch()
	}
	u.body = http.MaxBytesReader(u.w, u.body, u.p.limits.request)
	r.Body = io.NopCloser(u)
	parts, err := r.MultipartReader()
	if err != nil {
		return refuse(http.StatusUnsupportedMediaType, "this is no upload of files", "send a form, multipart/form-data, with the pictures in the field "+pictureField)
	}
	for range partsMost {
		part, err := parts.NextPart()
		if err == io.EOF {
			return u.complete()
		}
		if err != nil {
			return interrupted(err)
		}
		if err := u.part(part); err != nil {
			return err
		}
	}
	return refuse(http.StatusRequestEntityTooLarge, fmt.Sprintf("more than %d pictures at once", picturesMost), "send them in several goes")
}

func (u *receiving) complete() error {
	if len(u.files) == 0 {
		return refuse(http.StatusBadRequest, "there was no picture in it", "choose one or more pictures; they go in the field "+pictureField)
	}
	return nil
}

// part takes one part of the form. Other fields than the pictures' are passed over, and so is a
// field of files left empty.
func (u *receiving) part(part *multipart.Part) error {
	defer part.Close()
	if part.FormName() != pictureField {
		return nil
	}
	start := make([]byte, 1)
	n, err := io.ReadFull(part, start)
	switch {
	case err == io.EOF && part.FileName() == "":
		return nil
	case err != nil && err != io.EOF:
		return interrupted(err)
	}
	if len(u.files) == picturesMost {
		return refuse(http.StatusRequestEntityTooLarge, fmt.Sprintf("more than %d pictures at once", picturesMost), "send the others in another go")
	}
	return u.picture(part.FileName(), io.MultiReader(strings.NewReader(string(start[:n])), part))
}

// picture takes one picture. The error is of those that end the whole upload.
func (u *receiving) picture(sent string, content io.Reader) error {
	word, _ := u.p.session.Board().Look()
	name := u.p.spool.claim(sent, word)
	pic, err := u.p.spool.keep(name, content)
	var broken *sendError
	if errors.As(err, &broken) {
		u.note(name, refuse(http.StatusBadRequest, "the sending broke off", "send it again"))
		return interrupted(broken.cause)
	}
	if err == nil {
		if err = u.p.session.Offer(pic.Picture); err != nil {
			os.Remove(pic.At)
		}
		pic.settle()
	}
	u.note(name, err)
	return nil
}

// note keeps what became of a picture.
func (u *receiving) note(name string, err error) {
	file := uploadedJSON{File: name, Taken: err == nil}
	if err != nil {
		u.p.spool.release(name)
		file.WhyNot, file.Hint = err.Error(), hintOf(err)
		if u.status == 0 {
			u.status = statusOf(err)
		}
	}
	u.files = append(u.files, file)
}

// Read passes on what the browser sends, as long as something comes and it comes on the whole
// faster than a trickle.
func (u *receiving) Read(b []byte) (int, error) {
	now := time.Now()
	last := u.began.Add(u.p.limits.grace + time.Duration(u.read/slowestUpload)*time.Second)
	if next := now.Add(u.p.limits.pause); next.Before(last) {
		last = next
	}
	if err := u.rc.SetReadDeadline(last); err != nil {
		return 0, err
	}
	n, err := u.body.Read(b)
	u.read += int64(n)
	return n, err
}

// answer says what became of the pictures. Where the upload was not read to its end the
// connection cannot be used again.
func (u *receiving) answer() {
	status := http.StatusOK
	a := uploadJSON{Files: u.files}
	if a.Files == nil {
		a.Files = []uploadedJSON{}
	}
	if u.amiss != nil {
		a.WhyNot, a.Hint = u.amiss.Error(), hintOf(u.amiss)
		u.w.Header().Set("Connection", "close")
		status = statusOf(u.amiss)
		u.hearOut()
	}
	if status == http.StatusOK && u.status != 0 && !anyTaken(u.files) {
		status = u.status
	}
	text, err := json.Marshal(a)
	if err != nil || u.rc.SetWriteDeadline(time.Now().Add(u.p.limits.answer)) != nil {
		return
	}
	if status == http.StatusServiceUnavailable {
		u.w.Header().Set("Retry-After", "5")
	}
	u.w.Header().Set("Content-Type", "application/json")
	u.w.WriteHeader(status)
	u.w.Write(text) // an error means that nobody listens any more
}

// hearOut lets a browser send a little more, as some listen only once they have said their part.
func (u *receiving) hearOut() {
	if u.body != nil && u.rc.SetReadDeadline(time.Now().Add(hearOutTime)) == nil {
		io.CopyN(io.Discard, u.body, hearOutBytes)
	}
}

func anyTaken(files []uploadedJSON) bool {
	for _, f := range files {
		if f.Taken {
			return true
		}
	}
	return false
}

func tooMuch() error {
	return refuse(http.StatusRequestEntityTooLarge, "too much at once", "send the pictures in several goes")
}

// interrupted is why an upload could not be read on.
func interrupted(err error) error {
	var much *http.MaxBytesError
	switch {
	case errors.As(err, &much):
		return tooMuch()
	case errors.Is(err, os.ErrDeadlineExceeded):
		return refuse(http.StatusRequestTimeout, "the sending was too slow", "go nearer to the network's station, and send it again")
	}
	return refuse(http.StatusBadRequest, "the upload broke off or is damaged", "send it again")
}

func hintOf(err error) string { return words.PageHint(err) }

func statusOf(err error) int {
	var r *refusal
	switch {
	case errors.As(err, &r):
		return r.status
	case errors.Is(err, store.ErrFull), errors.Is(err, store.ErrClosed):
		return http.StatusServiceUnavailable
	}
	return http.StatusInternalServerError
}
