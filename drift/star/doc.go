// Package star finds and measures the stars of a picture.
package star
