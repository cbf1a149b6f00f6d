package pipeline

import (
	"fmt"
	"strings"
)

// The ways in which a folder is not the shard that is wanted.
const (
	ShardMissing    = "missing"        // no folder has this number
	ShardDoubled    = "doubled"        // another folder has it too
	ShardUnsealed   = "not_sealed"     // there is no such folder, or its run has not come to its end
	ShardDamaged    = "damaged"        // a file is not as the manifest says
	ShardNone       = "not_a_shard"    // results of something else
	ShardOtherBuild = "other_build"    // another program, or a processor that moves last bits
	ShardOtherStudy = "other_study"    // other inputs, settings or key
	ShardOtherParts = "other_division" // the study was divided otherwise
)

// ShardFault is one thing for which shards cannot be merged.
type ShardFault struct {
	Code   string `json:"code"`
	Shard  int    `json:"shard,omitempty"` // 0: not known
	Folder string `json:"folder,omitempty"`
	Detail string `json:"detail,omitempty"`
}

// String is the line that a person reads.
func (f ShardFault) String() string {
	var b strings.Builder
	if f.Shard > 0 {
		fmt.Fprintf(&b, "shard %d", f.Shard)
	}
	if f.Folder != "" {
		if b.Len() > 0 {
			b.WriteString(", ")
		}
		b.WriteString(f.Folder)
	}
	if b.Len() > 0 {
		b.WriteString(": ")
	}
	b.WriteString(map[string]string{
		ShardMissing: "missing", ShardDoubled: "given twice", ShardUnsealed: "not sealed", ShardDamaged: "damaged", ShardNone: "not a shard",
		ShardOtherBuild: "made by another build", ShardOtherStudy: "made from another study or with other settings", ShardOtherParts: "of another division of the study",
	}[f.Code])
	if f.Detail != "" {
		b.WriteString(": " + f.Detail)
	}
	return b.String()
}

// MergeError says what keeps shards from being merged. Again are those that must
// be computed, of Of; where it is empty folders are at fault that must be left
// out, or the program.
type MergeError struct {
	Of     int          `json:"of"` // 0: no folder is a shard
	Again  []int        `json:"again"`
	Faults []ShardFault `json:"faults"`
}

func (e *MergeError) Error() string {
	if len(e.Again) == 0 {
		return "the shards cannot be merged: see what is said of each"
	}
	return fmt.Sprintf("cannot merge: %d of %d shards must be computed: %s", len(e.Again), e.Of, e.Array())
}

// Array is Again as schedulers have it: 2,5-7.
func (e *MergeError) Array() string {
	var parts []string
	for i := 0; i < len(e.Again); {
		k := i
		for k+1 < len(e.Again) && e.Again[k+1] == e.Again[k]+1 {
			k++
		}
		if k == i {
			parts = append(parts, fmt.Sprint(e.Again[i]))
		} else {
			parts = append(parts, fmt.Sprintf("%d-%d", e.Again[i], e.Again[k]))
		}
		i = k + 1
	}
	return strings.Join(parts, ",")
}
