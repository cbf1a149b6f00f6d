package published

// Value is one published mean with its standard deviation.
type Value struct {
	Variable        string
	Sex             string // female, male or all
	AgeBand         string
	AgeLow, AgeHigh int // completed years, both included
	N               int // 0: not known
	Mean, SD        float64
	Status          string // read, second_hand or suspect
	Note            string
}

// Suspect reports whether the value contradicts the rest of its table; it is
// kept out of totals.
func (v Value) Suspect() bool { return v.Status == "suspect" }

func (s *Set) readValue(row []string) (string, error) {
	v := Value{Variable: row[0], Sex: row[1], AgeBand: row[2], Status: row[6], Note: row[7]}
	var err error
	if err = checkSex(v.Sex); err != nil {
		return "", err
	}
	if v.AgeLow, v.AgeHigh, err = ageBand(row[2], s.AgeLow, s.AgeHigh); err != nil {
		return "", err
	}
	if v.N, err = count(row[3]); err != nil {
		return "", err
	}
	if v.Mean, err = finite("mean", row[4]); err != nil {
		return "", err
	}
	if v.SD, err = finite("standard deviation", row[5]); err != nil {
		return "", err
	}
	if v.SD < 0 {
		return "", errNegativeSD
	}
	if err = checkStatus(v.Status); err != nil {
		return "", err
	}
	s.Values = append(s.Values, v)
	return v.Variable + "," + v.Sex + "," + v.AgeBand, nil
}
