package pipeline

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"tonocohort/pipeline/central"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// transferTable reads the file of a transfer function: what Fit wrote, or a csv
// of frequency, modulus and phase.
func transferTable(data []byte) (*central.Table, error) {
	if !bytes.HasPrefix(bytes.TrimLeft(data, " \t\r\n"), []byte("{")) {
		table, err := central.ParseTable(data)
		return &table, err
	}
	t, err := readTransfer(data)
	if err != nil {
		return nil, err
	}
	table := &central.Table{Source: t.Source, Artery: t.Artery}
	for _, row := range t.Table {
		table.Hz = append(table.Hz, row.Hz)
		table.Modulus = append(table.Modulus, row.Modulus)
		table.Phase = append(table.Phase, row.PhaseDeg*math.Pi/180)
	}
	if r := t.Residual; r != nil {
		table.Residual = &central.Residual{SBP: r.SBP, DBP: r.DBP, PP: r.PP,
			AugmentationPressure: orNaN(r.AugmentationPressure), AugmentationIndexPct: orNaN(r.AugmentationIndexPct)}
	}
	return table, table.Check()
}

// readTransfer decodes a file that Fit wrote and holds it to its own digest.
func readTransfer(data []byte) (*schema.Transfer, error) {
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.DisallowUnknownFields()
	var t schema.Transfer
	if err := decoder.Decode(&t); err != nil {
		return nil, fmt.Errorf("transfer function: %w", err)
	}
	switch {
	case t.Kind != schema.TransferKind:
		return nil, fmt.Errorf("transfer function: kind %q: it must be %q", t.Kind, schema.TransferKind)
	case t.Format != schema.TransferFormat:
		return nil, fmt.Errorf("transfer function: format %d; this program reads format %d", t.Format, schema.TransferFormat)
	case t.Direction != directionToAorta:
		return nil, fmt.Errorf("transfer function: direction %q: it must be %q", t.Direction, directionToAorta)
	}
	sum, err := transferContent(t)
	if err != nil {
		return nil, err
	}
	if sum != t.Content {
		return nil, errors.New("transfer function: the file was changed after it was written: its content digest does not fit")
	}
	return &t, nil
}

// directionToAorta is the direction of every gain that Fit writes.
const directionToAorta = "artery_to_aorta"

// transferContent is the digest over everything in t but itself.
func transferContent(t schema.Transfer) (string, error) {
	t.Content = ""
	data, err := canonical(t)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:]), nil
}

// otherArteries reports the recordings that the study's transfer table is not
// for, where it is the primary method: they fail in a run.
func otherArteries(s *study.Study) []schema.Issue {
	if s.Transfer == nil || s.Settings.Central.Method != central.TransferTable {
		return nil
	}
	table, err := transferTable(s.Transfer)
	if err != nil {
		return nil // reported with the settings
	}
	var issues []schema.Issue
	for i := range s.Subjects {
		for _, v := range s.Subjects[i].Visits {
			for _, r := range v.Recordings {
				if r.Fault != "" || r.Artery != central.Radial && r.Artery != central.Brachial || r.Artery == table.Artery {
					continue
				}
				issues = append(issues, schema.Issue{Size: schema.SizeRecording, File: s.Settings.Tables.Recordings, Row: r.Line, Name: "artery", Value: r.Artery,
					Code: "no_transfer", Message: "the transfer function of the study is for a " + table.Artery + " wave", Hint: "central: {method: …} names a method for every artery",
					SubjectID: s.Subjects[i].ID, VisitID: v.ID, RecordingID: r.ID})
			}
		}
	}
	return issues
}

// optional is a number that may be missing.
func optional(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}
