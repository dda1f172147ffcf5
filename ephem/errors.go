package ephem

import (
	"errors"
	"fmt"
	"time"

	"trueturn/ephem/amiss"
)

// Kinds of refusal, for errors.Is.
var (
	// ErrSite: no place on Earth.
	ErrSite = errors.New("impossible site")
	// ErrAir: no temperature and pressure of air.
	ErrAir = errors.New("impossible air")
	// ErrDate: an instant outside the years 1900 to 2100, where the theories of this package hold.
	ErrDate = errors.New("impossible date")
)

func badSite(why, act string) error { return amiss.New(ErrSite, ErrSite.Error()+": "+why, act) }

func badAir(why, act string) error { return amiss.New(ErrAir, ErrAir.Error()+": "+why, act) }

func badDate(t time.Time) error {
	return amiss.New(ErrDate, fmt.Sprintf("date %s is outside 1900 to 2100", t.UTC().Format("2006-01-02")), "check the camera's clock, or give the times yourself")
}
