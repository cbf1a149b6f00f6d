package main

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"text/template"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

// engineFiles are what engines are given, a folder an engine.
//
//go:embed engines
var engineFiles embed.FS

// engineFor are the engines, each with the line that sets it going.
var engineFor = []struct{ name, next string }{
	{"slurm", "%[1]s/slurm/tonocohort-slurm.sh %[2]s SHARDS RESULTS %[3]d"},
	{"cwl", "cwltool --parallel --no-container --preserve-environment PATH --outdir OUT %[1]s/cwl/study.cwl %[1]s/cwl/job.json"},
	{"kubernetes", "kubectl apply -f %[1]s/kubernetes/shards.yaml   (not run on a cluster; set image and claim first)"},
}

func engineNames() []string {
	names := make([]string, len(engineFor))
	for i, e := range engineFor {
		names[i] = e.name
	}
	return names
}

func newEngines() *cobra.Command {
	var out, only string
	var shards int
	cmd := &cobra.Command{
		Use:     "engines STUDY --out DIR",
		GroupID: "study",
		Short:   "Write what Slurm, CWL or Kubernetes need to run a study in shards",
		Long: `Writes into DIR what an engine needs to run "tonocohort run STUDY --shard I/N" on many
machines and "tonocohort merge" behind it. Nothing is started, and nothing stays
resident: the engine that is there does the work.

  slurm/       a script that submits an array job and a merge behind it, and
               submits again what the merge names as missing, at most 3 rounds
  cwl/         a workflow in the Common Workflow Language 1.2, no JavaScript,
               with the job file of STUDY: for cwltool, Toil and others
  kubernetes/  an Indexed Job and the Job of the merge; not run on a cluster

--for names some of them. The results are the bytes of one run on one machine,
whatever the engine, the number of shards, and however often a task was started:
a shard that is finished stands. Shards and merge must be of one build.

--shards: so many that a shard takes ten minutes or more. A task costs a scheduler
about a second, and a shard reads the tables of the whole study.`,
		Example: `  tonocohort engines STUDY --out ENGINES
  tonocohort engines STUDY --out ENGINES --for slurm,cwl --shards 200`,
		Args: exactly("STUDY"),
		RunE: func(cmd *cobra.Command, args []string) error {
			chosen := engineNames()
			if only != "" {
				chosen = listed(only)
			}
			for _, name := range chosen {
				if !slices.Contains(engineNames(), name) {
					return unknownName("engine", name, engineNames())
				}
			}
			if out == "" {
				return usageError(errors.New("missing --out DIR"))
			}
			if _, err := pipeline.ParseShard(fmt.Sprintf("1/%d", shards)); err != nil {
				return usageError(fmt.Errorf("--shards %d: %w", shards, err))
			}
			studyDir, err := filepath.Abs(args[0])
			if err != nil {
				return err
			}
			if _, err := os.Stat(filepath.Join(studyDir, "study.yaml")); err != nil {
				return usageError(fmt.Errorf("%s is no study folder: it has no study.yaml", args[0]))
			}
			if err := writeEngines(out, studyDir, shards, chosen); err != nil {
				return err
			}
			for _, e := range engineFor {
				if slices.Contains(chosen, e.name) {
					fmt.Fprintf(cmd.ErrOrStderr(), e.name+": "+e.next+"\n", out, studyDir, shards)
				}
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "folder for the files (made if need be)")
	cmd.Flags().StringVar(&only, "for", "", "engines, separated by commas; without it all")
	cmd.Flags().IntVar(&shards, "shards", 64, "number of shards")
	return cmd
}

// writeEngines writes the files of the engines, all or none: a file that is there
// already may have been edited for the site and is not written over.
func writeEngines(out, studyDir string, shards int, engines []string) error {
	type file struct {
		name string
		text []byte
	}
	var files []file
	for _, engine := range engines {
		entries, err := fs.ReadDir(engineFiles, path.Join("engines", engine))
		if err != nil {
			return err
		}
		for _, e := range entries {
			text, err := engineFile(path.Join("engines", engine, e.Name()), shards)
			if err != nil {
				return err
			}
			files = append(files, file{path.Join(engine, e.Name()), text})
		}
		if engine == "cwl" {
			text, err := workflowJob(studyDir, shards)
			if err != nil {
				return err
			}
			files = append(files, file{"cwl/job.json", text})
		}
	}
	for _, f := range files {
		if name := filepath.Join(out, f.name); exists(name) {
			return usageError(fmt.Errorf("%s exists already: give another folder, or remove it", name))
		}
	}
	for _, f := range files {
		name := filepath.Join(out, f.name)
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			return err
		}
		mode := fs.FileMode(0o666)
		if strings.HasSuffix(name, ".sh") {
			mode = 0o777
		}
		if err := os.WriteFile(name, f.text, mode); err != nil {
			return err
		}
	}
	return nil
}

func exists(name string) bool {
	_, err := os.Lstat(name)
	return err == nil
}

// engineFile reads a file; those of Kubernetes hold the number of shards.
func engineFile(name string, shards int) ([]byte, error) {
	text, err := engineFiles.ReadFile(name)
	if err != nil || path.Ext(name) != ".yaml" {
		return text, err
	}
	filled, err := template.New(path.Base(name)).Parse(string(text))
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = filled.Execute(&b, struct{ Shards, AtOnce int }{shards, min(shards, 16)})
	return b.Bytes(), err
}

// workflowJob is the job file of the workflow: the study and the shards' numbers,
// which the language could count by JavaScript alone.
func workflowJob(studyDir string, shards int) ([]byte, error) {
	type directory struct {
		Class string `json:"class"`
		Path  string `json:"path"`
	}
	numbers := make([]int, shards)
	for i := range numbers {
		numbers[i] = i + 1
	}
	text, err := json.Marshal(struct {
		Study   directory `json:"study"`
		Of      int       `json:"of"`
		Numbers []int     `json:"numbers"`
	}{directory{"Directory", studyDir}, shards, numbers})
	return append(text, '\n'), err
}
