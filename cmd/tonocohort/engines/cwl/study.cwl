# A study in shards and their merge: https://www.commonwl.org/v1.2/. No JavaScript,
# so that a runner needs no Node.
#
#   cwltool --parallel --no-container --preserve-environment PATH --outdir OUT study.cwl job.json
#
# With Toil the same on Slurm, Grid Engine, LSF, HTCondor and others:
#
#   toil-cwl-runner --batchSystem slurm --bypass-file-store --no-container \
#     --preserve-environment PATH --workDir W --jobStore W/jobs --outdir OUT study.cwl job.json
cwlVersion: v1.2
class: Workflow
label: central pressure of a cohort, computed in shards
requirements:
  ScatterFeatureRequirement: {}
inputs:
  study: Directory
  numbers: {type: "int[]", doc: "1 to N"}
  of: {type: int, doc: N}
  key_file: {type: "File?", doc: "where the study asks for keyed pseudonyms or dates"}
steps:
  shard:
    run: shard.cwl
    scatter: number
    in: {study: study, number: numbers, of: of, key_file: key_file}
    out: [folder]
  merge:
    run: merge.cwl
    in: {shards: shard/folder}
    out: [results, status]
outputs:
  results: {type: Directory, outputSource: merge/results}
  status: {type: int, outputSource: merge/status, doc: "0; 3 where some recording could not be read; 6 where nothing may be released"}
