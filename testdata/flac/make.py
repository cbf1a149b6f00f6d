"""Write the FLAC files of this folder with flac (Debian 1.4.2): signals of 700
samples by formulas that wfdb_flac_test.go repeats."""
import subprocess

SAMPLES = 700


def triangle(k):
    return abs(k % 200 - 100) * 8 - 400


def write(name, bits, channels, *options):
    raw = b"".join((c(k) & ((1 << bits) - 1)).to_bytes(bits // 8, "little") for k in range(SAMPLES) for c in channels)
    subprocess.run(["flac", "-s", "-f", "--no-padding", "--force-raw-format", "--endian=little", "--sign=signed",
                    f"--channels={len(channels)}", f"--bps={bits}", "--sample-rate=96000", "-o", name, *options, "-"],
                   input=raw, check=True)


write("three.d8", 8, [lambda k: triangle(k) // 8, lambda k: 5, lambda k: k * k * 31 % 251 - 125], "-8")
write("stereo.d16", 16, [triangle, lambda k: triangle(k) + 3 * (k % 7)], "-8")
write("noise.d16", 16, [lambda k: (k * k * 7919 + 3 * k) % 4001 - 2000], "-0", "-b", "192")
write("smooth.d24", 24, [lambda k: triangle(k) * 5000], "-5", "--lax", "-b", "64")
