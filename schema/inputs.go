package schema

// YesNo are the levels of a question that may be left open.
var YesNo = []string{"yes", "no", "unknown"}

// Identifier is the pattern of an id or a level: it starts with a letter or a
// digit, so that no spreadsheet takes it for a formula (CWE-1236).
const Identifier = `^[\p{L}\p{N}][\p{L}\p{N} ._:/+\-]{0,63}$`

// SubjectsInput declares the columns of the subjects table as it comes in.
func SubjectsInput() Table {
	return Table{Name: "subjects", RowPer: "subject", Restricted: true, Meaning: "who takes part",
		Columns: []Column{
			key(text("subject_id", "the person, the same in every table")),
			required(category("sex", "sex as the study recorded it", "female", "male", "other", "unknown")),
			date("birth_date", "date of birth; age is then reckoned at visit_date"),
			number("height_cm", "cm", "standing height").Between(100, 230).From("own limits for adults"),
			number("weight_kg", "kg", "body weight").Between(25, 300).From("own limits for adults"),
			text("centre", "place of examination"),
			text("family_id", "family, for errors clustered by family"),
			number("sampling_weight", "1", "inverse of the probability of selection").Between(0, 1e9).From("own limits"),
			text("stratum", "sampling stratum"),
			text("cluster", "primary sampling unit"),
		}}
}

// VisitsInput declares the columns of the visits table as it comes in.
func VisitsInput() Table {
	return Table{Name: "visits", RowPer: "subject and visit", Restricted: true, Meaning: "one examination of one person",
		Columns: []Column{
			key(text("subject_id", "the person")),
			key(text("visit_id", "the visit; the same word for the same round of examination")),
			number("age_years", "years", "age at the visit; reckoned from birth_date and visit_date where it is not given").Between(0, 120).From("own limits"),
			date("visit_date", "date of the visit"),
			number("height_cm", "cm", "standing height at the visit; goes before that of subjects").Between(100, 230).From("own limits for adults"),
			number("weight_kg", "kg", "body weight at the visit; goes before that of subjects").Between(25, 300).From("own limits for adults"),
			category("treated", "takes blood-pressure-lowering treatment", YesNo...),
			category("posture", "posture during tonometry", "supine", "seated", "standing", "unknown"),
			number("rest_min", "min", "rest before the measurement").Between(0, 240).From("own limits"),
			number("caffeine_h", "h", "hours since coffee, tea or another drink with caffeine").Between(0, 1000).From("own limits"),
			number("exercise_h", "h", "hours since exercise").Between(0, 1000).From("own limits"),
			number("tobacco_h", "h", "hours since tobacco").Between(0, 100000).From("own limits"),
			number("meal_h", "h", "hours since a meal").Between(0, 1000).From("own limits"),
			number("alcohol_h", "h", "hours since alcohol").Between(0, 100000).From("own limits"),
			category("vasoactive", "has taken a vasoactive substance (a decongestant, for one) before the measurement", YesNo...),
			category("legs_crossed", "legs were crossed during the measurement", YesNo...),
		}}
}

// CuffInput declares the columns of the cuff table as it comes in.
func CuffInput() Table {
	return Table{Name: "cuff", RowPer: "subject, visit and reading", Restricted: true, Meaning: "one brachial cuff reading",
		Columns: []Column{
			key(text("subject_id", "the person")),
			key(text("visit_id", "the visit")),
			key(integer("reading", "number of the reading in its visit, from 1").Between(1, 100).From("own limits")),
			required(number("sbp_mmhg", "mmHg", "brachial systolic pressure").Between(60, 280).From("own limits for adults")),
			required(number("dbp_mmhg", "mmHg", "brachial diastolic pressure").Between(30, 160).From("own limits for adults")),
			number("map_mmhg", "mmHg", "mean pressure as the cuff gave it").Between(40, 220).From("own limits for adults"),
			number("pulse_bpm", "1/min", "pulse rate as the cuff gave it").Between(25, 220).From("own limits for adults"),
			category("arm", "arm on which the cuff sat", "left", "right", "unknown"),
			text("cuff_mode", "how the cuff worked (auscultatory, oscillometric, …)"),
			text("recording_id", "the recording this reading belongs to; without it the reading serves every recording of its visit"),
		}}
}

// RecordingsInput declares the columns of the recordings table as it comes in.
func RecordingsInput() Table {
	return Table{Name: "recordings", RowPer: "recording", Restricted: true, Meaning: "one file, or one channel of one, with a pulse wave",
		Columns: []Column{
			key(text("recording_id", "the recording, unique in the study")),
			key(text("subject_id", "the person")),
			key(text("visit_id", "the visit")),
			required(text("file", "path relative to the study folder")),
			required(category("format", "format of the file", "csv", "parquet", "edf", "wfdb", "bids")),
			text("channel", "name of the channel, or its position from 1"),
			number("sampling_hz", "Hz", "sampling rate; required for csv without a time column").Between(30, 20000).From("own limits"),
			category("unit", "unit of the samples: mmHg, or au for a wave without scale", "mmHg", "au"),
			category("artery", "where the sensor lay; radial where nothing is said", "radial", "brachial", "carotid", "aortic"),
			category("side", "side of the body", "left", "right", "unknown"),
			text("operator_id", "who took the recording"),
			text("device_id", "which device took the recording"),
			text("recorded_at", "date and time of the recording"),
		}}
}

// ReviewsInput declares the columns of the reviews table as it comes in.
func ReviewsInput() Table {
	return Table{Name: "reviews", RowPer: "recording and reader", Restricted: true, Meaning: "a person's verdict on a recording",
		Columns: []Column{
			key(text("recording_id", "the recording")),
			required(category("decision", "the reader's verdict; it overrides the quality grade", "accept", "reject")),
			required(text("reason", "why")),
			text("reader", "who read it"),
			date("read_on", "when it was read"),
		}}
}

// WithdrawnInput declares the columns of the withdrawn table as it comes in.
func WithdrawnInput() Table {
	return Table{Name: "withdrawn", RowPer: "subject", Restricted: true, Meaning: "who has withdrawn consent and is read no further",
		Columns: []Column{
			key(text("subject_id", "the person")),
			date("on", "date of withdrawal"),
		}}
}

// InputTables lists the tables of a study folder in the order in which they are read.
func InputTables() []Table {
	return []Table{WithdrawnInput(), SubjectsInput(), VisitsInput(), CuffInput(), RecordingsInput(), ReviewsInput()}
}
