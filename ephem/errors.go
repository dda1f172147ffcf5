package ephem

import (
	"fmt"
	"time"
)

// SiteError says why a place on Earth was refused.
type SiteError struct{ reason, hint string }

func (e *SiteError) Error() string { return "impossible site: " + e.reason }

// Hint is the way out.
func (e *SiteError) Hint() string { return e.hint }

// AirError says why a temperature and pressure were refused.
type AirError struct{ reason, hint string }

func (e *AirError) Error() string { return "impossible air: " + e.reason }

// Hint is the way out.
func (e *AirError) Hint() string { return e.hint }

// DateError is an instant outside the years 1900 to 2100, where the theories of
// this package hold.
type DateError struct{ Time time.Time }

func (e *DateError) Error() string {
	return fmt.Sprintf("date %s is outside 1900 to 2100", e.Time.UTC().Format("2006-01-02"))
}

// Hint is the way out.
func (e *DateError) Hint() string {
	return "check the camera's clock, or give the times yourself"
}
