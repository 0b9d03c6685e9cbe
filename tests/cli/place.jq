# A sweep.ini without a crown, from the renderer's poses of a sample sweep
# (samples/truth). $source: jig or marks; $pad, $calib. Bearings and elevations
# are rounded to 0.1 degree, as a person would read them off; clicks are true
# points of the rim with 0.5 px of noise: twelve uniform numbers summed (Irwin and
# Hall), from a sine, the same in every run.

def noise($k): ([range(12) | ($k * 12 + . + 1) * 12.9898 | sin * 43758.5453 | . - floor] | add) - 6;
def tenth: . * 10 | round / 10;
def degrees: . * 180 / 3.141592653589793;
def radians: . * 3.141592653589793 / 180;

# Pinhole: f 3300 px, centre 639.5, 359.5 (calib/bench.ini).
def pixel($v; $p):
  [range(3) as $i | [range(3) | $v.R[$i][.] * $p[.]] | add + $v.t[$i]] as $c
  | [3300 * $c[0] / $c[2] + 639.5, 3300 * $c[1] / $c[2] + 359.5];

# The rim's point (20 mm across) at a bearing.
def rim($v; $b): pixel($v; [10 * ($b | radians | cos), -10 * ($b | radians | sin), 0]);

# Left end, right end, and with marks three points between.
def clicks($v; $i; $middle):
  [range(3) as $k | -([range(3) | $v.R[.][$k] * $v.t[.]] | add)] as $c
  | (-$c[1] | atan2(.; $c[0]) | degrees) as $b
  | (10 / ($c[0] * $c[0] + $c[1] * $c[1] | sqrt) | acos | degrees) as $half
  | [[$half, -$half] + $middle | to_entries[]
     | . as $e | rim($v; $b + $e.value)
     | .[0] + 0.5 * noise($i * 20 + 2 * $e.key), .[1] + 0.5 * noise($i * 20 + 2 * $e.key + 1)
     | tenth] | map(tostring) | "rim " + join(" ");

def angles($v): ", bearing \($v.bearing_deg | tenth % 360 + ($v.bearing_deg | tenth | . - floor) | tenth)"
  + (if $source == "jig" then ", elevation \($v.elevation_deg | tenth)" else "" end);

([.witness // empty | . + {role: "witness", exposure: 0.2}]
 + [.views[] | . + {role: "closed", exposure: 1}]) as $views
| "[sweep]", "serial = PE-A-0147", "instrument = \($calib)/alto-loan.ini",
  "station = \($calib)/bench.ini", "pad = \($pad)", "finger = light",
  "[place]", "source = \($source)", "bearing_u_deg = 0.03", "click_u_px = 0.5",
  "seat_tilt_deg = 0.5",
  (if $source == "jig" then "elevation_u_deg = 0.03", "distance_mm = 110", "outline_u_px = 0.5"
   else empty end),
  "[frames]",
  ($views[] | "\(.file) = \(.role), exposure \(.exposure)" + angles(.)),
  "[marks]",
  ($views | to_entries[]
   | if $source == "marks" then "\(.value.file) = " + clicks(.value; .key; [-35, 0, 35])
     elif .value.role == "witness" then "\(.value.file) = " + clicks(.value; .key; [])
     else empty end)
