package study

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"strings"
	"testing"

	"tonocohort/schema"
)

// folder is a study folder in memory.
type folder map[string]string

func (f folder) ReadFile(name string, buf []byte, limit int64) ([]byte, string, error) {
	text, ok := f[name]
	if !ok {
		return nil, "", &fs.PathError{Op: "open", Path: "/secret/place/" + name, Err: fs.ErrNotExist}
	}
	if int64(len(text)) > limit {
		return nil, "", fmt.Errorf("larger than %d bytes", limit)
	}
	sum := sha256.Sum256([]byte(text))
	return append(buf[:0], text...), hex.EncodeToString(sum[:]), nil
}

// with returns a copy in which files are replaced.
func (f folder) with(files ...string) folder {
	changed := folder{}
	for name, text := range f {
		changed[name] = text
	}
	for i := 0; i < len(files); i += 2 {
		changed[files[i]] = files[i+1]
	}
	return changed
}

// swap returns a copy in which a text within a file is replaced.
func (f folder) swap(t testing.TB, name, old, replacement string) folder {
	t.Helper()
	if !strings.Contains(f[name], old) {
		t.Fatalf("%s does not contain %q", name, old)
	}
	return f.with(name, strings.Replace(f[name], old, replacement, 1))
}

// smallStudy has three persons, one of them withdrawn, and no fault.
func smallStudy() folder {
	return folder{
		"study.yaml": "format: 1\nstudy: {id: small}\ntables:\n  subjects: subjects.csv\n  visits: visits.csv\n  cuff: cuff.csv\n" +
			"  recordings: recordings.csv\n  reviews: reviews.csv\n  withdrawn: withdrawn.csv\n",
		"subjects.csv":   "subject_id,sex,birth_date,height_cm,weight_kg\nS1,female,1960-03-01,165,70\nS2,male,,180,82.5\nS3,male,1970-01-01,175,80\n",
		"visits.csv":     "subject_id,visit_id,age_years,visit_date,treated,rest_min,caffeine_h,legs_crossed\nS1,V1,,2020-03-01,no,15,12,no\nS1,V2,62,2022-04-01,no,5,1,\nS2,V1,41.5,,yes,10,,yes\nS3,V1,50,,no,10,12,no\n",
		"cuff.csv":       "subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg,map_mmhg,pulse_bpm,recording_id\nS1,V1,1,140,85,,70,\nS1,V1,2,132,82,100,68,R1\nS1,V2,1,128,80,,,\nS2,V1,1,120,70,,,\nS3,V1,1,120,70,,,R4\n",
		"recordings.csv": "recording_id,subject_id,visit_id,file,format,sampling_hz,artery\nR1,S1,V1,waves/a.csv,csv,128,\nR2,S1,V2,waves/b.csv,csv,128,carotid\nR3,S2,V1,waves/c.csv,csv,128,radial\nR4,S3,V1,waves/d.csv,csv,128,radial\n",
		"reviews.csv":    "recording_id,decision,reason,reader\nR1,accept,clean,A\nR1,reject,drift,B\nR4,accept,clean,A\n",
		"withdrawn.csv":  "subject_id,on\nS3,2024-01-01\n",
	}
}

// allIssues prints issues one a line.
func allIssues(issues []schema.Issue) string {
	var lines []string
	for _, i := range issues {
		lines = append(lines, fmt.Sprintf("%s [%s %s]", i, i.Size, i.Code))
	}
	return strings.Join(lines, "\n")
}

// find returns the only issue with the code.
func find(t testing.TB, issues []schema.Issue, code string) schema.Issue {
	t.Helper()
	var found []schema.Issue
	for _, i := range issues {
		if i.Code == code {
			found = append(found, i)
		}
	}
	if len(found) != 1 {
		t.Fatalf("%d issues %s, want 1, in:\n%s", len(found), code, allIssues(issues))
	}
	return found[0]
}
