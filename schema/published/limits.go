package published

import (
	"errors"
	"fmt"
	"slices"
)

// Limit is a published value beyond which something is said of people. An
// outcome threshold says where outcomes were worse; it is no reference limit.
type Limit struct {
	Variable        string
	Sex             string // female, male or all
	AgeBand         string
	AgeLow, AgeHigh int
	Side            string // at_least or below
	Value           float64
	Kind            string // outcome_threshold, reference_percentile or proposed_limit
	Effect          string
	Source          string
	Status          string
	Note            string
}

func (s *Set) readLimit(row []string) (string, error) {
	l := Limit{Variable: row[0], Sex: row[1], AgeBand: row[2], Side: row[3], Kind: row[5], Effect: row[6], Source: row[7], Status: row[8], Note: row[9]}
	var err error
	if err = checkSex(l.Sex); err != nil {
		return "", err
	}
	if l.AgeLow, l.AgeHigh, err = ageBand(row[2], s.AgeLow, s.AgeHigh); err != nil {
		return "", err
	}
	if l.Value, err = finite("limit", row[4]); err != nil {
		return "", err
	}
	switch {
	case !slices.Contains([]string{"at_least", "below"}, l.Side):
		return "", fmt.Errorf("side %q is not at_least or below", l.Side)
	case !slices.Contains([]string{"outcome_threshold", "reference_percentile", "proposed_limit"}, l.Kind):
		return "", fmt.Errorf("kind %q is not outcome_threshold, reference_percentile or proposed_limit", l.Kind)
	case l.Source == "":
		return "", errors.New("a limit names its source")
	}
	if err = checkStatus(l.Status); err != nil {
		return "", err
	}
	s.Limits = append(s.Limits, l)
	return fmt.Sprint(row[:6]), nil
}
