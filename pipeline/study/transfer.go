package study

import (
	"bytes"
	"path"
	"slices"

	"tonocohort/schema"
)

// transferLimit bounds the size of the file of a transfer function.
const transferLimit = 16 << 20

// readTransfer reads the file of a tabulated transfer function, where the
// settings name one, and has it judged. Its bytes stay in Study.Transfer.
func (l *loader) readTransfer() {
	const at, method = "central.transfer_file", "transfer_table"
	c, d := l.study.Settings.Central, l.settings
	wanted := c.Method == method || slices.Contains(c.Also, method)
	switch {
	case c.TransferFile == "" && wanted:
		d.fault("central", method, "missing_setting", "transfer_table needs central.transfer_file",
			"central: {method: transfer_table, transfer_file: FILE}; tonocohort fit makes such a file")
		return
	case c.TransferFile == "":
		return
	case !wanted:
		d.fault(at, c.TransferFile, "unused_setting", "neither central.method nor central.also names transfer_table", "central: {method: transfer_table, …}, or remove this")
		return
	case !isLocal(c.TransferFile):
		d.fault(at, c.TransferFile, "file_outside_study", "the path must stay inside the study folder", "a relative path with '/', without '..'")
		return
	}
	place := d.place(at)
	data, ok := l.read(path.Clean(c.TransferFile), transferLimit,
		schema.Issue{File: SettingsFile, Row: place.line, Column: place.column, Name: at, Value: shorten(c.TransferFile)})
	if !ok {
		return
	}
	l.study.Transfer = bytes.Clone(data)
	if l.options.JudgeTransfer == nil {
		return
	}
	if err := l.options.JudgeTransfer(data); err != nil {
		d.fault(at, c.TransferFile, "bad_transfer", err.Error(), "tonocohort fit makes such a file")
	}
}
