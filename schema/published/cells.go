package published

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// count reads a number of people; none is not known.
func count(text string) (int, error) {
	if text == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		return 0, fmt.Errorf("n %q is not a count of people", text)
	}
	return n, nil
}

func checkStatus(status string) error {
	if !slices.Contains([]string{"read", "second_hand", "suspect"}, status) {
		return fmt.Errorf("status %q is not read, second_hand or suspect", status)
	}
	return nil
}

func checkSex(sex string) error {
	if !slices.Contains([]string{"female", "male", "all"}, sex) {
		return fmt.Errorf("sex %q is not female, male or all", sex)
	}
	return nil
}

// finite reads a number.
func finite(what, text string) (float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("%s %q is not a number", what, text)
	}
	return v, nil
}

// ageBand reads <20, 20-29, >=80 or all; an open end takes that of the whole set.
func ageBand(band string, youngest, oldest int) (low, high int, err error) {
	low, high = youngest, oldest
	from, to, closed := strings.Cut(band, "-")
	switch {
	case band == "all":
	case strings.HasPrefix(band, "<"):
		high, err = strconv.Atoi(band[1:])
		high--
	case strings.HasPrefix(band, ">="):
		low, err = strconv.Atoi(band[2:])
	case closed:
		if low, err = strconv.Atoi(from); err == nil {
			high, err = strconv.Atoi(to)
		}
	default:
		err = strconv.ErrSyntax
	}
	if err != nil || low > high {
		return 0, 0, fmt.Errorf("age band %q is not <20, 20-29, >=80 or all", band)
	}
	return low, high, nil
}
