package recording

// The stable codes of the Issues of this package. Those of the source (a path
// that leaves the folder, a missing file and so on) come besides.
const (
	// Any format.
	CodeFormatNotSupported  = "format_not_supported"
	CodeReadFailed          = "read_failed"
	CodeReaderPanic         = "reader_failed"
	CodeNoSamples           = "no_samples"
	CodeTooManySamples      = "too_many_samples"
	CodeChannelRequired     = "channel_required"   // several candidates and none named
	CodeChannelMissing      = "channel_missing"    // no channel of that name or position
	CodeChannelAmbiguous    = "channel_ambiguous"  // the name stands for two
	CodeChannelNotSignal    = "channel_not_signal" // time, annotations
	CodeSamplingMissing     = "sampling_missing"
	CodeSamplingMismatch    = "sampling_mismatch" // header or time column against the table
	CodeSamplingImplausible = "sampling_implausible"
	CodeUnitMismatch        = "unit_mismatch"    // header against the table
	CodeUnitIgnored         = "unit_ignored"     // note: header says mmHg, the table says au
	CodeSamplingDiffers     = "sampling_differs" // note: within the tolerance

	// Text: csv, BIDS.
	CodeUTF16            = "utf16"
	CodeByteOrderMark    = "byte_order_mark"     // note
	CodeWindowsLineEnds  = "windows_line_ends"   // note
	CodeNoFinalNewline   = "no_final_newline"    // note: the last value may be cut
	CodeColumnsIgnored   = "columns_ignored"     // note
	CodeNotText          = "not_text"            // control characters in the header
	CodeGzipDamaged      = "gzip_damaged"        // truncated, wrong check sum, not gzip
	CodeGzipNotNamed     = "gzip_not_named"      // gzip without .gz
	CodeTextTooLarge     = "text_too_large"      // above the limit after decompression
	CodeHeaderMissing    = "header_missing"      // the first line holds numbers
	CodeColumnMissing    = "column_missing"      // no column of that name
	CodeColumnDuplicate  = "column_duplicate"    // two columns of one name
	CodeDelimiter        = "delimiter"           // another delimiter than the declared one
	CodeDecimalComma     = "decimal_comma"       //
	CodeDecimalPoint     = "decimal_point"       // where a comma is declared
	CodeNonBreakingSpace = "non_breaking_space"  //
	CodeThousands        = "thousands_separator" //
	CodeQuotedNewline    = "quoted_newline"      //
	CodeLoneCR           = "lone_carriage_return"
	CodeRowRagged        = "row_ragged"   // more or fewer cells than columns
	CodeNaNText          = "nan_text"     // nan, inf, NA and their like
	CodeNotNumber        = "not_a_number" //
	CodeTimeMissing      = "time_missing" // an empty cell in the time column
	CodeTimeBackwards    = "time_backwards"
	CodeTimeUneven       = "time_uneven" // steps differ, or a gap is no whole number of steps
	CodeTimeStrays       = "time_strays" // note: times beside an even grid, within the tolerance
	CodeTimeGaps         = "time_gaps"   // note: gaps were filled with missing samples
)

// Codes of the binary formats.
const (
	CodeTruncated      = "file_truncated" // fewer bytes than the header promises
	CodeTrailingBytes  = "trailing_bytes" // note: more bytes than the header promises
	CodeUncalibrated   = "uncalibrated"   // note: the header gives no gain
	CodeChecksum       = "checksum_mismatch"
	CodeInitialValue   = "initial_value_mismatch" // a note where the check sum fits
	CodeWFDBName       = "wfdb_name"              // file must name the header
	CodeWFDBHeader     = "wfdb_header"            // a line of the header cannot be read
	CodeWFDBGain       = "wfdb_gain"              // gain, baseline and unit
	CodeWFDBStorage    = "wfdb_storage_format"    // unknown, or not supported
	CodeFLACDamaged    = "flac_damaged"           // a signal file of FLAC that cannot be unpacked
	CodeWFDBSegment    = "wfdb_segment"           // a segment does not fit its record
	CodeWFDBSignalPath = "wfdb_signal_path"       // the signal file is not beside its header
	CodeEDFVersion     = "edf_version"            // no EDF or BDF file
	CodeEDFHeader      = "edf_header"             // a field cannot be read or does not fit
	CodeEDFScale       = "edf_scale"              // minima and maxima of the channel
	CodeEDFTimes       = "edf_times"              // a discontinuous file without times
	CodeTimeRounded    = "time_rounded"           // note: data records that begin between samples
	CodeRecordsCounted = "records_counted"        // note: the header does not give their number
	CodeBIDSName       = "bids_name"
	CodeBIDSSidecar    = "bids_sidecar" // absent, ambiguous or not readable
	CodeBIDSHeaderLine = "bids_header_line"

	CodeRecordingNotInFile = "recording_not_in_file" // Parquet: no row of this recording_id
	CodeSeveralRecordings  = "several_recordings"    // Parquet: several lists and no recording_id
)
