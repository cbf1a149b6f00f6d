package schema

import "slices"

// UncertaintyTable declares the components of each standard error.
func UncertaintyTable() Table {
	return Table{Name: "uncertainty", RowPer: "recording and value", Restricted: true,
		Meaning: "what each standard error is made of; the components are independent and add in quadrature",
		Columns: []Column{
			key(text("subject_id", "the person")),
			key(text("visit_id", "the visit")),
			key(text("recording_id", "the recording")),
			text("value", "column of the table recordings"),
			text("unit", "unit of the value and its errors"),
			number("estimate", "", "the value"),
			number("se_beats", "", "beat-to-beat precision: jackknife over the accepted beats, transfer function held"),
			number("se_cuff", "", "repeatability of the cuff readings: within-person SD of a reading over the square root of their number"),
			number("se_calibration", "", "spread of the calibration constant between people: brachial-to-radial step (SBP/DBP) or form factor (mean/DBP)"),
			number("se_transfer", "", "spread of the transfer function between people: height and frequency of its peak, and the mean pressure taken as equal"),
			number("se", "", "the four combined; null where one of them is unknown"),
		}}
}

// EstimatesTable declares the estimates by every method that the study names.
func EstimatesTable() Table {
	return Table{Name: "estimates", RowPer: "recording, method and calibration", Restricted: true,
		Meaning: "the same pulse by each declared method and both calibrations",
		Columns: []Column{
			key(text("subject_id", "the person")),
			key(text("visit_id", "the visit")),
			key(text("recording_id", "the recording")),
			category("method", "public name of the method; none for a carotid or aortic wave", CentralMethods...),
			category("calibration", "how the wave got its scale", "sbp_dbp", "map_dbp", "as_recorded"),
			boolean("primary", "this method and calibration fill the central_ columns"),
			number("central_sbp_mmhg", "mmHg", "central SBP; the only value of a method that gives a peak alone"),
			number("central_dbp_mmhg", "mmHg", "central DBP"),
			number("central_map_mmhg", "mmHg", "central mean pressure"),
			number("central_pp_mmhg", "mmHg", "central PP"),
			number("augmentation_pressure_mmhg", "mmHg", "augmentation pressure"),
			number("augmentation_index_pct", "%", "augmentation index"),
			text("parameters", "what the method found or used, as name=value separated by blanks"),
			text("notes", "fall-backs and values that the wave does not have, separated by blanks"),
			text("source", "where the method was published"),
		}}
}

// RecordingsTable declares one row per recording.
func RecordingsTable() Table {
	columns := []Column{
		key(text("subject_id", "the person")),
		key(text("visit_id", "the visit")),
		key(text("recording_id", "the recording")),
		category("status", "used: it enters its visit's values; excluded: left out by a declared rule; failed: it could not be read or computed", "used", "excluded", "failed"),
		text("reason", "why it was excluded or failed; empty where it was used"),
		category("quality", "grade of the recording", "usable", "doubtful", "unusable"),
		text("quality_reasons", "the named rules that lowered the grade, separated by blanks"),
		category("review", "a reader's verdict where there is one", "accept", "reject"),
		category("artery", "where the sensor lay", "radial", "brachial", "carotid", "aortic"),
		text("side", "side of the body"),
		text("operator_id", "who took the recording"),
		text("device_id", "which device took it"),
		text("recorded_at", "date and time of the recording, as the study gives it"),
		category("unit", "unit of the samples", "mmHg", "au"),
		number("wave_minimum", "", "lowest point of the average beat in the unit of the samples: where the sensor has its zero"),
		number("wave_amplitude", "", "height of the average beat in the unit of the samples"),
		number("sampling_hz", "Hz", "sampling rate"),
		category("resampling", "how the beats came to the grid of their average, which alone asks for other times than were recorded: by the cubic of Catmull and Rom between samples; or the same of one sample in so many, where the rate is far above what the low-pass leaves. The recording as a whole keeps its rate", "beat_cubic", "decimation_beat_cubic"),
		number("duration_s", "s", "length of the recording"),
		category("calibration", "how the wave of the central_ columns got its scale", "sbp_dbp", "map_dbp", "as_recorded"),
		category("central_method", "how the aortic wave was estimated; none for a carotid or aortic wave", CentralMethods...),
		text("cuff_rule", "how the cuff readings were combined"),
		integer("cuff_readings", "cuff readings that entered the brachial values"),
		number("cuff_sbp_spread_mmhg", "mmHg", "largest minus smallest systolic reading of the visit"),
		category("brachial_map_source", "where brachial_map_mmhg comes from", "cuff", "form_factor"),
		category("augmentation_type", "A: late above early systolic pressure by more than 12 % of PP; B: by 0 to 12 %; C: early above late", "A", "B", "C").From(sourceMurgo),
		text("index_notes", "indices that this wave does not have, each with its reason, separated by blanks"),
	}
	return Table{Name: "recordings", RowPer: "recording", Restricted: true,
		Meaning: "every recording with its verdict and its values", Columns: append(columns, ValueColumns()...)}
}

// OperatorColumn is a column of subject_visits unless the study carries one of
// that name itself.
const OperatorColumn = "operator_id"

// SubjectVisitsTable declares one row per subject and visit: carried holds the
// columns that came with the subject and the visit (declared, covariate and
// derived), in their order.
func SubjectVisitsTable(carried []Column) Table {
	columns := []Column{
		key(text("subject_id", "the person")),
		key(text("visit_id", "the visit")),
		category("status", "used: has central values; excluded: left out by a declared rule; failed: no recording could be read or computed", "used", "excluded", "failed"),
		text("reason", "why it was excluded or failed"),
		integer("recordings_found", "recordings of the visit"),
		integer("recordings_used", "recordings that were combined"),
		text("replicate_rule", "how several recordings of the visit were combined"),
		category("quality", "the lowest grade among the recordings that were combined", "usable", "doubtful", "unusable"),
		category("calibration", "how the wave of the central_ columns got its scale; mixed where the recordings differ", "sbp_dbp", "map_dbp", "as_recorded", "mixed"),
		category("central_method", "how the aortic wave was estimated; mixed where the recordings differ", append(slices.Clone(CentralMethods), "mixed")...),
		category("brachial_map_source", "where brachial_map_mmhg comes from", "cuff", "form_factor"),
		text("cuff_rule", "how the cuff readings were combined"),
		integer("cuff_readings", "cuff readings that entered the brachial values"),
		text("bp_class", "class of the brachial pressure, or of the central one where the scheme is of central pressure"),
		text("bp_class_scheme", "which published scheme bp_class follows"),
		text("departures", "protocol departures by name, separated by blanks"),
		integer("departure_count", "number of protocol departures"),
		boolean("cuff_first_two_differ", "the first two systolic readings differ by more than 10 mmHg").From("ESC/ESH 2018 (from memory)"),
	}
	if !slices.ContainsFunc(carried, func(c Column) bool { return c.Name == OperatorColumn }) {
		columns = append(columns, text(OperatorColumn, "who took the recordings that were combined; mixed where they differ"))
	}
	columns = append(columns, carried...)
	return Table{Name: "subject_visits", RowPer: "subject and visit", Restricted: true,
		Meaning: "replicates combined, with covariates", Columns: append(columns, ValueColumns()...)}
}

// BeatsTable declares one row per beat found.
func BeatsTable() Table {
	return Table{Name: "beats", RowPer: "beat", Restricted: true, Meaning: "every beat found, accepted or not",
		Columns: []Column{
			key(text("subject_id", "the person")),
			key(text("visit_id", "the visit")),
			key(text("recording_id", "the recording")),
			integer("beat", "number of the beat in its recording, from 1"),
			number("onset_s", "s", "time of the pressure minimum before the upstroke"),
			number("foot_s", "s", "time of the foot by intersecting tangents"),
			number("period_s", "s", "time to the next foot; null for the last beat"),
			number("minimum_mmhg", "mmHg", "lowest pressure of the beat, primary calibration"),
			number("maximum_mmhg", "mmHg", "highest pressure of the beat, primary calibration"),
			number("template_correlation", "1", "correlation with the average beat"),
			boolean("accepted", "the beat entered the average"),
			text("reason", "the rule that rejected it"),
		}}
}

// WaveformsTable declares one average beat per recording.
func WaveformsTable() Table {
	return Table{Name: "waveforms", RowPer: "recording", Restricted: true, Meaning: "the average beat, peripheral and aortic, over one period from foot to foot",
		Columns: []Column{
			key(text("subject_id", "the person")),
			key(text("visit_id", "the visit")),
			key(text("recording_id", "the recording")),
			number("step_s", "s", "time between samples; the period is the number of samples times this"),
			wave("radial_mmhg", "mmHg", "average peripheral beat, primary calibration (radial unless the artery says otherwise)"),
			wave("central_mmhg", "mmHg", "estimated aortic beat, primary calibration"),
		}}
}

// ExclusionsTable declares one row per thing left out.
func ExclusionsTable() Table {
	return Table{Name: "exclusions", RowPer: "thing left out", Restricted: true, Meaning: "nothing vanishes: what was left out, where and why",
		Columns: []Column{
			category("level", "what was left out", "subject", "visit", "reading", "recording", "value"),
			text("subject_id", "the person"),
			text("visit_id", "the visit"),
			text("recording_id", "the recording"),
			text("stage", "step at which it was left out"),
			text("reason", "stable name of the rule"),
			text("detail", "the value and the place, for a person to read"),
		}}
}

// IssuesTable declares what was found wrong or assumed, as it was shown at the
// terminal. Ids have no columns: what was left out of whom stands in exclusions.
func IssuesTable() Table {
	return Table{Name: "issues", RowPer: "issue", Restricted: true, Meaning: "what was found wrong in the study or was assumed, in the order in which it was shown",
		Columns: []Column{
			category("size", "how far it reaches", string(SizeStructural), string(SizeValue), string(SizeRecording), string(SizeNote)),
			text("code", "stable name of the rule"),
			text("file", "file of the study, or part of the results, that it is about"),
			integer("row", "line of the file as an editor counts it, its header being line 1; empty: the whole file"),
			integer("column", "position of the column, from 1; empty: the whole row"),
			text("name", "name of the column or setting"),
			text("value", "the offending text, shortened"),
			text("message", "what is wrong, or what was assumed"),
			text("hint", "what would mend it"),
		}}
}

// FlowTable declares the participant flow; at every stage in = out + the sum of n.
func FlowTable() Table {
	return Table{Name: "flow", RowPer: "stage and reason", Meaning: "how many came in, were left out for which first reason, and went on (STROBE item 13)",
		Columns: []Column{
			text("unit", "what is counted: subjects, subject_visits or recordings"),
			text("stage", "the stage, in order"),
			integer("order", "position of the stage"),
			integer("in", "came into the stage"),
			integer("out", "went on"),
			text("reason", "first reason for leaving; empty for a stage that loses nobody"),
			integer("n", "left for this reason"),
		}}
}

// StatisticColumns declares what every statistic carries; strata columns and
// extras stand between set, variable and the rest.
func statisticTable(name, rowPer, meaning string, between ...Column) Table {
	columns := []Column{
		text("set", "analysis set: who is in"),
		text("variable", "the variable described, or the outcome of a model"),
	}
	columns = append(columns, between...)
	columns = append(columns,
		text("statistic", "what the estimate is"),
		number("estimate", "", "the estimate"),
		number("low", "", "lower end of its interval"),
		number("high", "", "upper end of its interval"),
		number("level", "1", "confidence level of the interval"),
		integer("n", "observations that entered"),
		integer("n_missing", "observations of the stratum without a value"),
		text("method", "how estimate and interval were computed"),
		text("unit", "unit of the estimate"),
		text("note", "warnings that belong to the number"),
	)
	return Table{Name: name, RowPer: rowPer, Meaning: meaning, Columns: columns}
}

// SummaryTable declares the stratified summaries; strata names the stratum
// columns of the study, each holding a level or "all".
func SummaryTable(strata []string) Table {
	return statisticTable("summary", "statistic", "stratified summaries: one row per set, variable, stratum and statistic", stratumColumns(strata)...)
}

// RegressionTable declares the results of the declared models.
func RegressionTable() Table {
	return statisticTable("regression", "statistic", "declared models: one row per model, term and statistic",
		text("model", "name of the model"),
		text("term", "term of the model; empty for a statistic of the whole model"))
}

// ComparisonTable declares the comparison with published values.
func ComparisonTable() Table {
	return statisticTable("comparison", "statistic", "the cohort beside published values, stratum by stratum",
		text("published", "name of the published set"),
		text("sex", "stratum"),
		text("age_band", "age band of the published table"),
		number("published_estimate", "", "the published value"),
		integer("published_n", "people behind the published value"),
	)
}
