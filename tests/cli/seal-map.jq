# Complaints about a seal-map.json, [] when there are none: every key that the
# format promises (include/rimglow/report.h), its type and its range.

def is(t): type == t;
def number_from($low; $high): is("number") and . >= $low and . <= $high;
def number_or_null: is("number") or is("null");
def bearing: is("number") and . >= 0 and . < 360;
def say($ok; $text): if $ok then empty else $text end;
def has_all($keys): . as $o | $keys - ($o | keys) | map("lacks " + .) | .[];

def bin_faults($i):
  ("bin \($i) " as $b
  | has_all(["bearing_deg", "width_mm", "u_mm", "detection_limit_mm", "frames", "state"]),
    say(.bearing_deg == $i; $b + "bearing"),
    say(.frames | is("number") and . >= 0 and . == floor; $b + "frames"),
    say(.state | IN("sealed", "gap", "unseen"); $b + "state"),
    say((.width_mm | number_or_null) and (.u_mm | number_or_null); $b + "numbers"),
    say((.detection_limit_mm == null) or (.detection_limit_mm > 0); $b + "limit"),
    say(if .state == "unseen" then .width_mm == null and .u_mm == null
        else (.width_mm | number_from(0; 5)) and (.u_mm | number_from(0.000001; 5)) end;
        $b + "width and u against state"),
    say(.state == "unseen" or .frames > 0; $b + "is seen without a frame"));

def arc_faults($i):
  ("arc \($i) " as $a
  | has_all(["start_deg", "end_deg", "centre_deg", "extent_deg", "extent_mm", "max_width_mm",
             "u_max_mm", "mean_width_mm", "open_area_mm2"]),
    say((.start_deg | bearing) and (.end_deg | bearing) and (.centre_deg | bearing); $a + "angles"),
    say(.extent_deg | number_from(0.000001; 360); $a + "extent"),
    say(((.end_deg - .start_deg + 720) % 360 - .extent_deg % 360) | fabs
        | (. <= 1.01 or . >= 358.99); $a + "extent against its ends"),
    say(.max_width_mm >= .mean_width_mm and .mean_width_mm > 0; $a + "widths"),
    say(.u_max_mm > 0 and .open_area_mm2 > 0 and .extent_mm > 0; $a + "signs"));

def frame_faults($i):
  ("frame \($i) " as $f
  | has_all(["file", "used", "reason", "bearing_deg", "elevation_deg", "reprojection_rms_px",
             "place", "u_bearing_deg", "u_elevation_deg"]),
    say(.place | IN("crown", "jig", "marks"); $f + "source of its place"),
    say((.used | not) or ((.u_bearing_deg | number_from(0; 30)) and
        (.u_elevation_deg | number_from(0.00001; 10))); $f + "uncertainty of its place"),
    say((.file | is("string")) and (.used | is("boolean")) and (.reason | is("string"));
        $f + "types"),
    say(.used or (.reason | length) > 10; $f + "is left out without a reason"),
    say((.used | not) or ((.bearing_deg | bearing) and (.elevation_deg | number_from(-90; 90)) and
        (.reprojection_rms_px | number_from(0; 20))); $f + "is used without a place"));

def opening_faults:
  (has_all(["measured", "reason", "target_mm", "far_mm", "u_far_mm", "hinge_mm", "u_hinge_mm",
            "mean_mm", "u_mean_mm", "tilt_mm", "u_tilt_mm", "tilt_bearing_deg", "frames_given",
            "frames_used", "rms_px", "frames"]),
    say(.measured | is("boolean"); "opening measured"),
    say(.measured or ((.reason | length) > 10 and .far_mm == null); "an opening without measurement"),
    say((.measured | not) or ([.u_far_mm, .u_hinge_mm, .u_mean_mm, .u_tilt_mm]
        | all(number_from(0.000001; 10))); "uncertainty of the opening"),
    say((.measured | not) or ((.far_mm + .hinge_mm) / 2 - .mean_mm | fabs) < 0.00001;
        "far edge and hinge against their mean"),
    say(.frames | all(.used or (.reason | length) > 10); "open frame left out without a reason"),
    say(([.frames[] | select(.used)] | length) == .frames_used; "open frames used"));

[
  has_all(["format", "version", "serial", "pad", "verdict", "reasons", "tolerance_mm",
           "rim_outer_diameter_mm", "bins", "arcs", "frames"]),
  say(.format == "rimglow seal map"; "format"),
  say(.version == 1; "version"),
  say(.serial == "PE-A-0147"; "serial"),
  say(.verdict | IN("sealed", "leaking", "undecided"); "verdict"),
  say((.reasons | is("array")) and (.reasons | all(is("string") and length > 10)); "reasons"),
  say(.verdict == "sealed" or (.reasons | length) > 0; "a verdict without a reason"),
  say(.tolerance_mm == 0.025; "tolerance"),
  say(.rim_outer_diameter_mm == 20; "rim"),
  say(.judged | is("string") and test("^[0-9]{4}-[0-9]{2}-[0-9]{2}$"); "judged"),
  say([.inputs[], (.frames[] | select(.sha256) | .sha256)]
      | length > 3 and all(test("^[0-9a-f]{64}$")); "digests of what was measured"),
  say((.bins | length) == 360; "360 bins"),
  (select(has("opening")) | .opening | opening_faults),
  (.bins | to_entries[] | .key as $i | .value | bin_faults($i)),
  (.arcs | to_entries[] | .key as $i | .value | arc_faults($i)),
  (.frames | to_entries[] | .key as $i | .value | frame_faults($i)),
  # The verdict against its own rules: sealed means that every bearing was seen.
  say(.verdict != "sealed" or ((.bins | all(.state != "unseen")) and .light.proven and .light.calibrated);
      "sealed with unseen bearings, no light or no calibration"),
  say(.verdict != "leaking" or (.arcs | length) > 0; "leaking without an arc")
]
