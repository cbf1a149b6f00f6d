package pipeline

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash"
	"math"
	"reflect"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// sum is a SHA-256.
type sum [sha256.Size]byte

// basis is what the rows of every subject rest on beside its own data: what must
// be the same for a part that was sealed before to be taken. Settings that reach
// the statistics alone are not in it, nor what the tables say, which stands in
// the key of each subject.
type basis struct {
	Build    schema.Build               `json:"build"`
	Settings map[string]json.RawMessage `json:"settings"`
	KeyID    string                     `json:"key_id,omitempty"`
	Transfer string                     `json:"transfer_sha256,omitempty"`
	Columns  []schema.Column            `json:"columns"` // that subject_visits carries
}

// statisticsAlone names the settings that reach no recording by themselves: how
// tables are named, written and read reaches a subject through its rows.
func statisticsAlone() []string {
	return []string{"format", "study", "tables", "csv", "covariates", "recode", "units", "derive", "analysis", "disclosure"}
}

func (r *run) basis() (basis, error) {
	b := basis{Build: r.manifest.Build, KeyID: r.disguise.keyID(), Columns: r.study.Carried}
	s := r.study.Settings
	data, err := json.Marshal(s)
	if err != nil {
		return b, err
	}
	if err := json.Unmarshal(data, &b.Settings); err != nil {
		return b, err
	}
	for _, name := range statisticsAlone() {
		delete(b.Settings, name)
	}
	// Of the protocol a recording knows only what a departure does: which visit
	// departs stands with the visit. The scheme of bp_class is a column.
	for name, value := range map[string]string{"protocol": s.Protocol.OnDeparture, "analysis.bp_scheme": s.Analysis.BPScheme} {
		if b.Settings[name], err = json.Marshal(value); err != nil {
			return b, err
		}
	}
	for _, in := range r.study.Inputs {
		if in.Path == s.Central.TransferFile {
			b.Transfer = in.SHA256
		}
	}
	return b, nil
}

func (b basis) sum() (sum, error) {
	data, err := canonical(b)
	return sha256.Sum256(data), err
}

// subjectKey is a digest of everything that the study's tables say of a subject.
// Where a row stands in its table does not belong to it.
func subjectKey(s *study.Subject) sum {
	h := fieldHash{Hash: sha256.New()}
	h.value(reflect.ValueOf(s).Elem())
	return sum(h.Sum(nil))
}

// fieldHash takes values field by field, each preceded by its length where it
// has one, so that no two values run into one another.
type fieldHash struct {
	hash.Hash
	scratch [8]byte
}

func (h *fieldHash) word(v uint64) {
	binary.LittleEndian.PutUint64(h.scratch[:], v)
	h.Write(h.scratch[:])
}

func (h *fieldHash) value(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		h.word(uint64(v.Len()))
		h.Write([]byte(v.String()))
	case reflect.Float64:
		h.word(math.Float64bits(v.Float() + 0)) // no −0: a subject that was put aside has none
	case reflect.Int, reflect.Int32, reflect.Int64:
		h.word(uint64(v.Int()))
	case reflect.Bool:
		h.word(map[bool]uint64{true: 1}[v.Bool()])
	case reflect.Slice:
		h.word(uint64(v.Len()))
		for i := range v.Len() {
			h.value(v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() && f.Name != "Line" {
				h.value(v.Field(i))
			}
		}
	default:
		panic(fmt.Sprintf("pipeline: a field of kind %s has no place in the key of a subject", v.Kind()))
	}
}
