package study

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strings"
	"time"
)

// The shapes of dates that are recognised in order to say what is wrong.
var (
	twoDigitYear = regexp.MustCompile(`^(\d{1,2}[./-]\d{1,2}[./-]\d{2}|\d{2}-\d{2}-\d{2})$`)
	otherOrder   = regexp.MustCompile(`^\d{1,2}[./-] ?\d{1,2}[./-] ?\d{4}$`)
	slashedISO   = regexp.MustCompile(`^\d{4}([./]\d{1,2}[./]\d{1,2}|-\d-\d{1,2}|-\d{1,2}-\d|\d{4})$`)
	isoShape     = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}$`)
	withTime     = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}[T ]\d`)
	incomplete   = regexp.MustCompile(`^(\d{4}|\d{4}-\d{2}|\d{1,2}[./]\d{4})$`)
	serialDay    = regexp.MustCompile(`^\d{5}(\.\d+)?$`)
)

// dateLayout gives the layout of package time for a value of csv.dates.
func dateLayout(dates string) string {
	switch dates {
	case "dd.mm.yyyy":
		return "2.1.2006"
	case "dd/mm/yyyy":
		return "2/1/2006"
	case "mm/dd/yyyy":
		return "1/2/2006"
	default:
		return time.DateOnly
	}
}

// scanDate reads a date in the layout; ISO dates are read in any case, since
// nothing else looks like one.
//
// Years of two digits are those of the hundred years from yearsFrom on; 0: they
// are refused.
func scanDate(s, layout string, yearsFrom int) (time.Time, *fault) {
	t, err := time.Parse(layout, s)
	if err != nil && yearsFrom > 0 && twoDigitYear.MatchString(s) {
		t, err = shortDate(s, layout, yearsFrom)
	}
	if err != nil && layout != time.DateOnly {
		t, err = time.Parse(time.DateOnly, s)
	}
	switch {
	case err == nil && (t.Year() < earliestYear || t.Year() > latestYear):
		return time.Time{}, &fault{"date_implausible", fmt.Sprintf("a year outside %d to %d", earliestYear, latestYear), "leave the cell empty where the date is missing"}
	case err == nil:
		return t, nil
	case isoShape.MatchString(s):
		return time.Time{}, &fault{"no_such_date", "the calendar has no such day", ""}
	default:
		return time.Time{}, explainDate(s, layout)
	}
}

// shortDate reads a date whose year has two digits.
func shortDate(s, layout string, yearsFrom int) (time.Time, error) {
	t, err := time.Parse(strings.Replace(layout, "2006", "06", 1), s)
	if err != nil {
		return t, err
	}
	year := yearsFrom + ((t.Year()-yearsFrom)%100+100)%100
	full := time.Date(year, t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
	if full.Day() != t.Day() { // a 29 February that this century does not have
		return t, errors.New("no such day")
	}
	return full, nil
}

// Years that a date of a living person's study can have (own limits).
const (
	earliestYear = 1850
	latestYear   = 2200
)

func explainDate(s, layout string) *fault {
	const iso = "write dates as YYYY-MM-DD"
	switch {
	case isMissingWord(s):
		return &fault{"missing_word", "a word where a date is expected", "leave the cell empty, or recode the word to \"\""}
	case twoDigitYear.MatchString(s):
		order := ""
		if layout == time.DateOnly {
			order = "dates: dd.mm.yyyy, "
		}
		return &fault{"two_digit_year", "a year of two digits: the century is a guess", "csv: {" + order + "two_digit_years_from: 1926} reads 26 as 1926 and 25 as 2025; or " + iso}
	case otherOrder.MatchString(s) && layout != time.DateOnly:
		return &fault{"no_such_date", "no day of the calendar in the order that csv.dates declares", "check the order of day and month"}
	case otherOrder.MatchString(s):
		return &fault{"date_not_iso", "not an ISO date: which number is the month?", iso + ", or declare the order: csv: {dates: dd.mm.yyyy}, dd/mm/yyyy or mm/dd/yyyy"}
	case withTime.MatchString(s):
		return &fault{"date_with_time", "a date with a time of day", iso + " alone"}
	case serialDay.MatchString(s):
		return &fault{"date_serial", "looks like the day number of a spreadsheet", "format the column as a date before saving it; " + iso}
	case slashedISO.MatchString(s):
		return &fault{"date_not_iso", "not an ISO date", iso}
	case incomplete.MatchString(s):
		return &fault{"date_incomplete", "not a full date", iso}
	default:
		return &fault{"not_a_date", "not a date", iso}
	}
}

// ageAt returns the age in years on the day: completed years by the calendar
// plus the share of the current year of life that has passed, so that a
// birthday is a whole number. Who was born on 29 February has the birthday on
// 1 March in other years. NaN where the day lies before birth.
func ageAt(birth, day time.Time) float64 {
	if day.Before(birth) {
		return math.NaN()
	}
	years := day.Year() - birth.Year()
	if birth.AddDate(years, 0, 0).After(day) {
		years--
	}
	last, next := birth.AddDate(years, 0, 0), birth.AddDate(years+1, 0, 0)
	return float64(years) + day.Sub(last).Hours()/next.Sub(last).Hours()
}
