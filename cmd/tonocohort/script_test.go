package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"tonocohort/testdata"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"tonocohort": main,
	})
}

// Every behaviour of the command line, and every mended fault, is a script
// under testdata/script. In a script, exits N COMMAND holds the exit status.
func TestScripts(t *testing.T) {
	dir, err := filepath.Abs("../../testdata/script")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:  dir,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "pairs": pairs, "stranger": stranger, "bucket": bucketOf},
		Condition: func(name string) (bool, error) {
			switch name {
			case "objectstore":
				return openRecordings != nil, nil
			case "race":
				return testdata.UnderRaceDetector(), nil
			}
			return false, fmt.Errorf("unknown condition %s", name)
		},
	})
}

// bucketOf serves a folder as an S3 bucket: bucket FOLDER gives BUCKET, its URL. Only a
// build with the tag objectstore can.
func bucketOf(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: bucket FOLDER")
	}
	address, stop, err := serveFolder(ts.MkAbs(args[0]))
	ts.Check(err)
	ts.Defer(stop)
	ts.Setenv("BUCKET", "s3://cohort?region=us-east-1&use_path_style=true&endpoint="+address)
	ts.Setenv("AWS_ACCESS_KEY_ID", "name")
	ts.Setenv("AWS_SECRET_ACCESS_KEY", "secret")
}

// serveFolder serves the bucket "cohort" with the files of a folder.
var serveFolder = func(dir string) (address string, stop func(), err error) {
	return "", nil, errors.New("this build knows no object storage")
}

// exits runs the program and holds its exit status: exits 4 check study.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits STATUS ARGUMENT…")
	}
	err := ts.Exec("tonocohort", args[1:]...)
	got := "0"
	if err != nil {
		got = statusOf(err)
	}
	if got != args[0] {
		ts.Fatalf("exit status %s, expected %s", got, args[0])
	}
}

// pairs writes a folder of invented paired recordings: pairs FOLDER PEOPLE. Their
// arm is the tube with the published peak of Karamanoglu 1993, 2.8 at 4 Hz.
func pairs(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: pairs FOLDER PEOPLE")
	}
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	dir := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(dir, 0o777))
	ts.Check(testdata.WritePairs(dir, n, testdata.Arm{TravelS: 0.0625, Reflection: 9.0 / 19}))
}

// stranger writes the tables and waves of an invented study into a folder that has
// its study.yaml: stranger FOLDER.
func stranger(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: stranger FOLDER")
	}
	ts.Check(testdata.WriteStranger(ts.MkAbs(args[0])))
}

func statusOf(err error) string {
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return strconv.Itoa(exit.ExitCode())
	}
	return err.Error()
}
