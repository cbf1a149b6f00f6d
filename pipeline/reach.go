package pipeline

import (
	"path"
	"slices"
	"strings"

	"tonocohort/schema"
)

// Reach is what a setting or an input can change: columns of one table, or of a
// kind of tables. Columns hold patterns (central_*); none stands for all of
// them, and for rows that come or go.
type Reach struct {
	Table   string   `json:"table"`
	Columns []string `json:"columns,omitempty"`
}

// The kinds of tables that a Reach may name.
const (
	AllPersonTables = "person-level tables" // written recording by recording
	AllStatistics   = "statistics"          // the other tables
	AllReleased     = "release"             // whatever stands in release/
	AllIssues       = "issues"
)

// String is the reach for a person; of many columns it names the first.
func (r Reach) String() string {
	if len(r.Columns) == 0 {
		return r.Table
	}
	return r.Table + " (" + firstOf(r.Columns) + ")"
}

// names reports whether the reach is about a file of the results.
func (r Reach) names(file string) bool {
	switch {
	case strings.HasPrefix(file, releaseFolder):
		return r.Table == AllReleased
	case file == issuesPath:
		return r.Table == AllIssues
	case strings.HasPrefix(file, personFigures): // drawn from visits, residuals and replicates
		return slices.Contains([]string{AllStatistics, AllPersonTables, "subject_visits", "residuals", "agreement"}, r.Table)
	case personLevel(file):
		return r.Table == AllPersonTables || tablePath(r.Table) == file
	}
	return r.Table == AllStatistics || tablePath(r.Table) == file
}

func (r Reach) holds(column string) bool {
	return len(r.Columns) == 0 || slices.ContainsFunc(r.Columns, func(pattern string) bool {
		ok, err := path.Match(pattern, column)
		return ok && err == nil
	})
}

// beyond lists the columns in which a file differs and that no reach holds; for
// rows that come and go, and for files that are no tables, it names the file.
func beyond(reaches []Reach, f FileComparison) (columns []string) {
	about := slices.DeleteFunc(slices.Clone(reaches), func(r Reach) bool { return !r.names(f.Path) })
	whole := slices.ContainsFunc(about, func(r Reach) bool { return len(r.Columns) == 0 })
	if !whole && (f.RowsOnlyA+f.RowsOnlyB > 0 || len(f.Columns) == 0) {
		return []string{"(rows)"}
	}
	for _, column := range f.Columns {
		if !slices.ContainsFunc(about, func(r Reach) bool { return r.holds(column) }) {
			columns = append(columns, column)
		}
	}
	return columns
}

// settingReach declares what each setting can change. A setting is looked up by
// its own path, then by the paths above it.
func settingReach(setting string) ([]Reach, bool) {
	table := settingReaches()
	for at := setting; ; {
		if r, ok := table[at]; ok {
			return r, true
		}
		cut := strings.LastIndexAny(at, ".[")
		if cut < 0 {
			return []Reach{{Table: AllPersonTables}, {Table: AllStatistics}, {Table: AllReleased}, {Table: AllIssues}}, false
		}
		at = at[:cut]
	}
}

// aorticColumns are the values that rest on the estimated aortic wave.
func aorticColumns() []string {
	return []string{"status", "reason", "central_*", "pp_amplification_ratio*", "sbp_amplification_mmhg*", "augmentation_*", "early_systolic_mmhg", "late_systolic_mmhg",
		"shoulder_ms", "peak_ms", "maximum_slope_mmhg_s", "ejection_duration_ms", "systolic_integral_mmhg_s", "diastolic_integral_mmhg_s", "supply_demand_ratio_pct",
		"forward_wave_mmhg", "backward_wave_mmhg", "reflection_magnitude", "reservoir_*", "excess_*", "diastolic_decay_per_s", "index_notes", "recordings_used"}
}

// scaledColumns are those, and what else has the scale of the cuff; a verdict on
// plausible pressure follows it too, and with it whose recordings a visit has.
func scaledColumns() []string {
	return append(aorticColumns(), "operator_id", "brachial_*", "peripheral_*", "cuff_*", "calibration", "quality", "quality_reasons", "bp_class")
}

// waveColumns are everything that is read from a pulse.
func waveColumns() []string {
	return append(scaledColumns(), "heart_rate_bpm", "beats_*", "wave_*", "sampling_hz", "resampling", "duration_s", "unit")
}

func errorColumns() []string { return []string{"*_se"} }

// inPersons is a reach into the tables of recordings and visits, the statistics
// made of them and what is released. A verdict that changes takes a recording out
// of its visit, or in, and with it everything that the visit has of it.
func inPersons(columns []string, more ...Reach) []Reach {
	visits := columns
	if slices.Contains(columns, "status") {
		visits = append(slices.Clone(columns), append(waveColumns(), "central_method", "calibration")...)
		slices.Sort(visits)
		visits = slices.Compact(visits)
	}
	return append(append([]Reach{{Table: "recordings", Columns: columns}, {Table: "subject_visits", Columns: visits}}, more...),
		Reach{Table: AllStatistics}, Reach{Table: AllReleased}, Reach{Table: AllIssues})
}

// inStatistics is a reach into the named tables of statistics and the release.
func inStatistics(tables ...string) []Reach {
	var list []Reach
	for _, t := range tables {
		list = append(list, Reach{Table: t})
	}
	return append(list, Reach{Table: "disclosure"}, Reach{Table: AllReleased}, Reach{Table: AllIssues})
}

func settingReaches() map[string][]Reach {
	everything := []Reach{{Table: AllPersonTables}, {Table: AllStatistics}, {Table: AllReleased}, {Table: AllIssues}}
	wave := inPersons(waveColumns(), Reach{Table: "beats"}, Reach{Table: "waveforms"}, Reach{Table: "estimates"}, Reach{Table: "uncertainty"},
		Reach{Table: "reviews", Columns: []string{"quality*", "program_decision", "status"}}, Reach{Table: "exclusions"})
	scaled := inPersons(scaledColumns(), Reach{Table: "beats", Columns: []string{"minimum_mmhg", "maximum_mmhg"}}, Reach{Table: "waveforms"}, Reach{Table: "estimates"},
		Reach{Table: "uncertainty"}, Reach{Table: "reviews", Columns: []string{"quality*", "program_decision", "status"}}, Reach{Table: "exclusions"})
	aortic := inPersons(aorticColumns(), Reach{Table: "waveforms", Columns: []string{"central_mmhg"}}, Reach{Table: "estimates"}, Reach{Table: "uncertainty"},
		Reach{Table: "beats", Columns: []string{"minimum_mmhg", "maximum_mmhg"}}, Reach{Table: "exclusions"}, Reach{Table: "reviews", Columns: []string{"status"}})
	kept := inPersons(append(waveColumns(), "departures", "departure_count", "departed_*"), Reach{Table: "exclusions"}, Reach{Table: "reviews", Columns: []string{"program_decision", "status"}})
	statistics := inStatistics(AllStatistics)
	return map[string][]Reach{
		"format": {}, "study": {{Table: AllReleased}}, // and the file-level keys of every table
		"tables": everything, "csv": everything, "recode": everything, "rename": everything, "units": everything,
		"covariates":  {{Table: "subject_visits"}, {Table: "exclusions"}, {Table: AllStatistics}, {Table: AllReleased}, {Table: AllIssues}},
		"derive":      {{Table: "subject_visits"}, {Table: AllStatistics}, {Table: AllReleased}, {Table: AllIssues}},
		"waveforms":   wave,
		"beats":       wave,
		"cuff":        scaled,
		"calibration": scaled,
		"central":     aortic,
		"uncertainty": inPersons(errorColumns(), Reach{Table: "uncertainty", Columns: []string{"se_*", "se"}}),
		"quality":     kept,
		"protocol":    kept,
		"replicates": {{Table: "subject_visits", Columns: append(waveColumns(), "replicate_rule", "central_method")},
			{Table: AllStatistics}, {Table: AllReleased}, {Table: AllIssues}},
		"privacy.ids":        everything,
		"privacy.age_top":    {{Table: "subject_visits"}, {Table: AllStatistics}, {Table: AllReleased}, {Table: AllIssues}},
		"privacy.date_shift": everything,

		"analysis.visit": statistics, "analysis.age": statistics, "analysis.sets": statistics, "analysis.set_order": inStatistics(), "analysis.strata": statistics,
		"analysis.weights": statistics, "analysis.threshold": statistics, "analysis.variables": statistics,
		"analysis.bp_scheme":     append([]Reach{{Table: "subject_visits", Columns: []string{"bp_class", "bp_class_scheme"}}}, statistics...),
		"analysis.change":        inStatistics("change"),
		"analysis.standardise":   inStatistics("standardised", "summary"),
		"analysis.precision":     inStatistics("precision"),
		"analysis.equivalence":   inStatistics("comparison"),
		"analysis.compare_with":  inStatistics("comparison"),
		"analysis.compare_files": inStatistics("comparison"),
		"analysis.quantile_type": inStatistics("summary", "characteristics", "change", "standardised"),
		"analysis.models":        inStatistics("regression", "residuals", "sensitivity"),
		"analysis.sensitivity":   inStatistics("sensitivity"),
		"analysis.centiles":      inStatistics("centiles", "centile_fit", "centile_parameters"),
		"analysis.tables":        inStatistics("characteristics"),
		"disclosure":             {{Table: "disclosure"}, {Table: AllReleased}},
	}
}

// inputReach declares what an input can change; a file that the settings do not
// name is a recording.
func inputReach(s schema.Settings, file string) []Reach {
	statistics := []Reach{{Table: AllStatistics}, {Table: AllReleased}, {Table: AllIssues}}
	reaches := settingReaches()
	switch file {
	case s.Tables.Subjects, s.Tables.Visits:
		return append([]Reach{{Table: "subject_visits"}, {Table: "recordings", Columns: append(waveColumns(), "*")}, {Table: AllPersonTables}}, statistics...)
	case s.Tables.Cuff:
		return append(slices.Clone(reaches["cuff"]), Reach{Table: "readings"}, Reach{Table: "subject_visits", Columns: []string{"cuff_*"}})
	case s.Tables.Reviews:
		return append(inPersons(append(waveColumns(), "review")), Reach{Table: "reviews"}, Reach{Table: "exclusions"})
	case s.Tables.Recordings, s.Tables.Withdrawn:
		return append([]Reach{{Table: AllPersonTables}}, statistics...)
	case s.Central.TransferFile:
		return reaches["central"]
	}
	if isStudyTable(s, file) {
		return reaches["analysis.compare_with"] // a published set of the study's own
	}
	return append(slices.Clone(reaches["beats"]), Reach{Table: "recordings"})
}
