package schema

// ReviewsTable declares the readers' verdicts beside the program's own.
func ReviewsTable() Table {
	return Table{Name: "reviews", RowPer: "recording and reader", Restricted: true,
		Meaning: "both verdicts on every recording that a person has read: the program's before the review, and the reader's, which overrides it",
		Columns: []Column{
			key(text("subject_id", "the person")),
			key(text("visit_id", "the visit")),
			key(text("recording_id", "the recording")),
			text("reader", "who read it; empty where the study does not say"),
			category("decision", "the reader's verdict", "accept", "reject"),
			text("reason", "why, in the reader's words"),
			date("read_on", "when it was read"),
			category("quality", "the program's grade; empty where the table itself kept the recording from being read", "usable", "doubtful", "unusable"),
			text("quality_reasons", "the named rules that lowered the grade, separated by blanks"),
			category("program_decision", "what the program would have done without a review: accept from quality.min_grade up", "accept", "reject"),
			category("status", "what became of the recording", "used", "excluded", "failed"),
		}}
}

// ReadingsTable declares the cuff readings that the brachial values rest on.
func ReadingsTable() Table {
	return Table{Name: "readings", RowPer: "subject, visit and cuff reading", Restricted: true,
		Meaning: "every usable cuff reading, as it was written down",
		Columns: []Column{
			key(text("subject_id", "the person")),
			key(text("visit_id", "the visit")),
			key(integer("reading", "number of the reading in its visit, from 1")),
			text("recording_id", "the recording it belongs to; empty where it serves every recording of its visit"),
			number("sbp_mmhg", "mmHg", "systolic pressure"),
			number("dbp_mmhg", "mmHg", "diastolic pressure"),
			number("map_mmhg", "mmHg", "mean pressure as the cuff gave it"),
			number("pulse_bpm", "1/min", "pulse rate as the cuff gave it"),
		}}
}

// AgreementTable declares how well measurements agree with each other.
func AgreementTable() Table {
	t := statisticTable("agreement", "statistic", "agreement of replicates, operators, methods, calibrations and readers, and of what repeats show with what the standard errors say",
		text("comparison", "what is compared: replicates and replicates_all_visits (recordings of one visit), cuff_readings, operators_within and operators_between (one or two operators in one visit), methods, calibrations, readers, reader_and_grade, observed_and_reported"),
		text("first", "the first of two: a difference is second − first"),
		text("second", "the second of two"),
		integer("observations", "recordings, readings or pairs that entered; a person may give several"))
	t.Columns[t.Index("n")].Meaning = "persons that entered"
	t.Columns[t.Index("n_missing")].Meaning = "persons who have what is compared, but not this value of it"
	return t
}

// DriftTable declares the control charts of devices and centres. It stays with
// the study: running means of small groups give single persons away.
func DriftTable() Table {
	t := statisticTable("drift", "statistic", "control charts of the devices and centres over the calendar, and a verdict for each",
		category("by", "what the chart is of", "device", "centre"),
		text("name", "the device or the centre"),
		text("period", "calendar quarter, quarters joined until enough visits are in them, or all"),
		number("target", "", "centre line of the chart: the mean over all its visits"),
		number("lower_limit", "", "lower control limit"),
		number("upper_limit", "", "upper control limit"),
		text("rule", "name of the rule that is applied to the row, with its limit"),
		boolean("flagged", "the rule is broken"))
	t.Columns[t.Index("n")].Meaning = "visits that entered (readings, for terminal digits); recordings of one visit count once"
	t.Restricted = true
	return t
}

// DepartedPrefix begins the name of a column of subject_visits that says whether
// the answer in the column named behind it departs from the protocol.
const DepartedPrefix = "departed_"

// AnyDeparture is the row of visits with at least one departure.
const AnyDeparture = "any"

// QualityName names the released table of grades.
const QualityName = "quality"

// UsedDeparturesTable declares the departures among the visits that were used: what
// is released of them.
func UsedDeparturesTable() Table {
	return visitShares("departures", "departure", "departures from the protocol among the visits that were used (any: at least one of them)", "visits that departed")
}

// QualityTable declares the grades of the visits that were used.
func QualityTable() Table {
	return visitShares(QualityName, "grade", "grades of quality of the visits that were used", "visits of this grade")
}

func visitShares(name, rowPer, meaning, counted string) Table {
	t := statisticTable(name, rowPer, meaning, integer("observations", counted))
	t.Columns[t.Index("n")].Meaning = "visits of which it is known"
	t.Columns[t.Index("n_missing")].Meaning = "visits of which it is not"
	return t
}

// DeparturesTable declares the counts of departures from the protocol.
func DeparturesTable() Table {
	t := statisticTable("departures", "statistic", "departures from the protocol by the column that departs (any: at least one of them) and centre, over all visits, used or not",
		text("centre", "place of examination, or all"),
		integer("departed", "visits that departed"))
	t.Columns[t.Index("n")].Meaning = "visits in which the question was answered"
	t.Columns[t.Index("n_missing")].Meaning = "visits in which it was not"
	t.Restricted = true
	return t
}
