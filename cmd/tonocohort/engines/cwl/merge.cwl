cwlVersion: v1.2
class: CommandLineTool
label: the shards together, and the statistics
hints:
  ResourceRequirement: {coresMin: 1, ramMin: 2048}
  # DockerRequirement: {dockerPull: "an image that holds tonocohort"}
baseCommand: [tonocohort, merge]
arguments: [--out, results, --quiet]
# The results are there with 3 (some recording could not be read) and with 6
# (nothing may be released); which it was is an output.
successCodes: [0, 3, 6]
inputs:
  shards: {type: "Directory[]", loadListing: no_listing, inputBinding: {position: 1}}
outputs:
  results:
    type: Directory
    outputBinding: {glob: results}
  status:
    type: int
    outputBinding: {outputEval: $(runtime.exitCode)}
