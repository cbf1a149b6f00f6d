package pipeline

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/url"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// The vocabularies that a crate is written in.
const (
	crateContext  = "https://w3id.org/ro/crate/1.2/context"
	crateStandard = "https://w3id.org/ro/crate/1.2"
	crateProfile  = "https://w3id.org/ro/wfrun/process/0.5"
)

// entity is one thing that a crate describes; ref points to one.
type (
	entity map[string]any
	ref    struct {
		ID string `json:"@id"`
	}
)

// crate writes the results as an RO-Crate 1.2 by the profile Process Run Crate
// 0.5: the files, the program, and the run that made them of its inputs, which
// are named by digest and, where restricted data go, by path.
func (b *bundle) crate(ctx context.Context) error {
	files, err := b.copyAll(ctx, "")
	if err != nil {
		return err
	}
	parts, entities := b.crateFiles(files)
	inputs := b.crateInputs()
	action := b.crateAction(files, inputs)
	root := entity{
		"@id": "./", "@type": "Dataset", "name": b.title(),
		"description":   fmt.Sprintf("Central pressure of the study %s: tables, statistics and their provenance. %s", b.manifest.Study.ID, b.manifest.Caution),
		"datePublished": b.day(), "license": ref{b.licenseID()}, "conformsTo": ref{crateProfile}, "hasPart": parts, "mentions": ref{"#run"},
		"identifier": "sha256:" + b.manifest.Content,
	}
	graph := []entity{
		{"@id": "ro-crate-metadata.json", "@type": "CreativeWork", "conformsTo": ref{crateStandard}, "about": ref{"./"}},
		root,
		{"@id": crateProfile, "@type": "CreativeWork", "name": "Process Run Crate", "version": "0.5"},
		b.crateLicense(),
		{"@id": "#tonocohort", "@type": "SoftwareApplication", "name": b.manifest.Build.Program, "softwareVersion": b.manifest.Build.Version,
			"description": fmt.Sprintf("%s; %s; executable sha256:%s", b.manifest.Build.Go, b.manifest.Build.Architecture, b.manifest.Build.Executable)},
		action,
	}
	graph = append(append(graph, entities...), inputs...)
	_, err = b.write("ro-crate-metadata.json", func(w io.Writer) error {
		encoder := json.NewEncoder(w)
		encoder.SetEscapeHTML(false)
		encoder.SetIndent("", " ")
		return encoder.Encode(map[string]any{"@context": crateContext, "@graph": graph})
	})
	return err
}

// crateFiles describes the files and the folders that hold them.
func (b *bundle) crateFiles(files []schema.File) (parts []ref, entities []entity) {
	folders := map[string][]ref{}
	var order []string
	for _, f := range files {
		entities = append(entities, entity{
			"@id": crateID(f.Path), "@type": "File", "name": f.Path, "encodingFormat": mediaType(f.Path),
			"contentSize": strconv.FormatInt(f.Bytes, 10), "sha256": f.SHA256,
		})
		folder, _, nested := strings.Cut(f.Path, "/")
		if !nested {
			parts = append(parts, ref{crateID(f.Path)})
			continue
		}
		if folders[folder] == nil {
			order = append(order, folder)
		}
		folders[folder] = append(folders[folder], ref{crateID(f.Path)})
	}
	about := map[string]string{
		"release": "statistics checked for disclosure, for others",
		"tables":  "person-level tables and full statistics: restricted",
	}
	for _, folder := range order {
		parts = append(parts, ref{folder + "/"})
		entities = append(entities, entity{"@id": folder + "/", "@type": "Dataset", "name": folder, "description": about[folder], "hasPart": folders[folder]})
	}
	return parts, entities
}

// crateInputs describes what the results were made from. The files themselves
// are not in the crate; where only the release goes, nor are their names.
func (b *bundle) crateInputs() []entity {
	var list []entity
	for i, in := range b.manifest.Inputs {
		if !b.options.Restricted && !isStudyTable(b.manifest.Settings, in.Path) {
			continue
		}
		name := in.Path
		if !b.options.Restricted {
			name = "a table or the settings of the study"
		}
		list = append(list, entity{
			"@id": fmt.Sprintf("#input-%d", i+1), "@type": "CreativeWork", "name": name, "description": "read by the run; not in this crate",
			"contentSize": strconv.FormatInt(in.Bytes, 10), "sha256": in.SHA256,
		})
	}
	for i, s := range b.manifest.Sources {
		list = append(list, entity{"@id": fmt.Sprintf("#source-%d", i+1), "@type": "CreativeWork", "name": "results of the study " + s.Study.ID,
			"description": "read by the run; not in this crate", "identifier": "sha256:" + s.Content})
	}
	return list
}

func (b *bundle) crateAction(files []schema.File, inputs []entity) entity {
	var objects, made []ref
	for _, in := range inputs {
		objects = append(objects, ref{in["@id"].(string)})
	}
	for _, f := range files {
		made = append(made, ref{crateID(f.Path)})
	}
	action := entity{
		"@id": "#run", "@type": "CreateAction", "name": "central pressure of the study " + b.manifest.Study.ID,
		"description": "every recording read, the aortic pressure worked back, statistics made; the settings stand in the manifest",
		"instrument":  ref{"#tonocohort"}, "object": objects, "result": made,
		"actionStatus": ref{"http://schema.org/CompletedActionStatus"},
	}
	if run := b.manifest.Run; run != nil {
		action["startTime"], action["endTime"] = offset(run.Started), offset(run.Ended)
	}
	return action
}

// offset writes a time in UTC with a numeric offset, which every reader takes.
func offset(utc string) string { return strings.TrimSuffix(utc, "Z") + "+00:00" }

// crateID is a path as the identifier of a file: percent-encoded.
func crateID(path string) string { return (&url.URL{Path: path}).EscapedPath() }

func (b *bundle) licenseID() string {
	if u, err := url.Parse(b.options.License); err == nil && u.IsAbs() {
		return b.options.License
	}
	return "#licence"
}

func (b *bundle) crateLicense() entity {
	text := b.options.License
	about := "terms of use"
	if text == "" {
		text, about = "No licence was stated", "ask who holds the study before these data are used"
	}
	return entity{"@id": b.licenseID(), "@type": "CreativeWork", "name": text, "description": about}
}
