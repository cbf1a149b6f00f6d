cwlVersion: v1.2
class: CommandLineTool
label: one shard of a study
hints:
  ResourceRequirement: {coresMin: 1, ramMin: 512}
  # DockerRequirement: {dockerPull: "an image that holds tonocohort"}
baseCommand: [tonocohort, run]
arguments: [--out, "shard-$(inputs.number)", --shard, "$(inputs.number)/$(inputs.of)", --jobs, $(runtime.cores), --quiet]
inputs:
  study: {type: Directory, loadListing: no_listing, inputBinding: {position: 1}}
  number: int
  of: int
  key_file: {type: "File?", inputBinding: {prefix: --key-file}}
outputs:
  folder:
    type: Directory
    outputBinding: {glob: "shard-$(inputs.number)", loadListing: no_listing}
