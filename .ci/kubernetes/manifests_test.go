// Package kubernetes holds the manifests that the program writes to the types of
// the Kubernetes API. A module of its own: the program needs none of it.
package kubernetes

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	batch "k8s.io/api/batch/v1"
	core "k8s.io/api/core/v1"
	"sigs.k8s.io/yaml"
)

// decoded reads a manifest of the folder TONOCOHORT_MANIFESTS strictly: a field that
// the API does not know, or a field given twice, is an error.
func decoded(t *testing.T, name string) batch.Job {
	t.Helper()
	dir := os.Getenv("TONOCOHORT_MANIFESTS")
	if dir == "" {
		t.Skip("TONOCOHORT_MANIFESTS does not name the folder of the manifests: .ci/engines does")
	}
	text, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(text, []byte("NOT RUN on a cluster")) {
		t.Errorf("%s does not say that it was not run", name)
	}
	var job batch.Job
	if err := yaml.UnmarshalStrict(text, &job); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if job.APIVersion != batch.SchemeGroupVersion.String() || job.Kind != "Job" || job.Name == "" {
		t.Errorf("%s: %s %s %q", name, job.APIVersion, job.Kind, job.Name)
	}
	return job
}

// mounted holds the volumes of a pod to those that its containers mount.
func mounted(t *testing.T, pod core.PodSpec) {
	t.Helper()
	there := map[string]bool{}
	for _, v := range pod.Volumes {
		there[v.Name] = true
	}
	for _, c := range pod.Containers {
		for _, m := range c.VolumeMounts {
			if !there[m.Name] {
				t.Errorf("no volume %s", m.Name)
			}
		}
	}
}

// The rules of an Indexed Job: https://kubernetes.io/docs/concepts/workloads/controllers/job/.
// backoffLimitPerIndex and maxFailedIndexes need completionMode Indexed and
// restartPolicy Never; maxFailedIndexes is at most completions.
func TestShards(t *testing.T) {
	job := decoded(t, "shards.yaml")
	s := job.Spec
	if s.CompletionMode == nil || *s.CompletionMode != batch.IndexedCompletion || s.Completions == nil || *s.Completions != 7 {
		t.Errorf("completions: %v %v", s.CompletionMode, s.Completions)
	}
	if s.BackoffLimitPerIndex == nil || s.MaxFailedIndexes == nil || *s.MaxFailedIndexes > *s.Completions || s.Parallelism == nil || *s.Parallelism > *s.Completions {
		t.Errorf("%+v", s)
	}
	if s.PodReplacementPolicy == nil || *s.PodReplacementPolicy != batch.Failed || s.Template.Spec.RestartPolicy != core.RestartPolicyNever {
		t.Errorf("%+v", s)
	}
	// Indices start at 0, shards at 1.
	if script := strings.Join(s.Template.Spec.Containers[0].Args, "\n"); !strings.Contains(script, "number=$((JOB_COMPLETION_INDEX + 1))") || !strings.Contains(script, `"$number/7"`) {
		t.Error(script)
	}
	mounted(t, s.Template.Spec)
}

func TestMerge(t *testing.T) {
	s := decoded(t, "merge.yaml").Spec
	if s.BackoffLimit == nil || *s.BackoffLimit != 0 || s.Template.Spec.RestartPolicy != core.RestartPolicyNever {
		t.Errorf("%+v", s)
	}
	mounted(t, s.Template.Spec)
}
