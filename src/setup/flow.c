/*
 * flow.c - air through a slot between land and pad.
 */
#include "rimglow/flow.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

static const double kelvin = 273.15;
static const double gas_constant = 287.052874; /* of air, J/(kg K), US Standard Atmosphere 1976 */
static const double mm = 1e-3;
static const double ml = 1e-6;

rg_code rg_flow_check(const rg_flow_options *o, rg_error *err)
{
    const struct {
        const char *name;
        double value, low, high;
    } range[] = {{"temperature_c", o->temperature_c, -50, 100},
                 {"ambient_pa", o->ambient_pa, 50000, 120000},
                 {"blowing_pa", o->blowing_pa, 10, 50000},
                 {"discharge", o->discharge, 0.3, 1},
                 {"entry_exit_loss", o->entry_exit_loss, 0, 1 / (o->discharge * o->discharge)},
                 {"coverage_factor", o->coverage_factor, 1, 6}};
    for (size_t i = 0; i < sizeof range / sizeof range[0]; i++)
        if (!(range[i].value >= range[i].low && range[i].value <= range[i].high))
            return rg_fail(err, RG_BAD_DATA, "flow: %s = %.9g: outside %.9g to %.9g; correct it",
                           range[i].name, range[i].value, range[i].low, range[i].high);
    return RG_OK;
}

rg_air rg_air_at(double temperature_c, double pressure_pa)
{
    double t = temperature_c + kelvin;
    return (rg_air){.viscosity_pa_s = 1.458e-6 * t * sqrt(t) / (t + 110.4),
                    .density_kg_m3 = pressure_pa / (gas_constant * t)};
}

/* ------------------------------------------------------------------- slot */

/* What viscosity takes: p = r q, q the flow by length. */
static double resistance(const rg_slot *s, const rg_air *air)
{
    double w = s->width_mm * mm;
    return 12 * air->viscosity_pa_s * s->depth_mm * mm / (w * w * w);
}

double rg_flow_viscous(const rg_slot *s, const rg_air *air, double pa)
{
    return s->width_mm > 0 ? pa / resistance(s, air) * s->length_mm * mm / ml : 0;
}

/* tau(l) / tau(0) of a thick-edged orifice. */
static double orifice_share(double l)
{
    if (l >= 2.4)
        return 0;
    return (2.4 - l) / 2.4 * pow(10, -0.535 * pow(l, 8) / (0.05 + pow(l, 7)));
}

static double loss(const rg_slot *s, const rg_flow_options *o)
{
    double orifice = 1 / (o->discharge * o->discharge);
    double share = orifice_share(s->depth_mm / (2 * s->width_mm));
    return o->entry_exit_loss + (orifice - o->entry_exit_loss) * share;
}

double rg_flow_slot(const rg_slot *s, const rg_air *air, double pa, const rg_flow_options *o)
{
    if (!(s->width_mm > 0))
        return 0;
    double w = s->width_mm * mm, r = resistance(s, air);
    double b = loss(s, o) * air->density_kg_m3 / (2 * w * w);
    /* Of pa = r q + b q^2, in the form that keeps its digits when b or r is small. */
    double q = 2 * pa / (r + sqrt(r * r + 4 * b * pa));
    return q * s->length_mm * mm / ml;
}

static double jet_speed(const rg_air *air, double pa)
{
    return sqrt(2 * pa / air->density_kg_m3);
}

double rg_flow_orifice(double area_mm2, const rg_air *air, double pa, double discharge)
{
    return discharge * area_mm2 * mm * mm * jet_speed(air, pa) / ml;
}

double rg_flow_orifice_mm(double ml_s, const rg_air *air, double pa, double discharge)
{
    return sqrt(4 * ml_s * ml / (RG_PI * discharge * jet_speed(air, pa))) / mm;
}

/* -------------------------------------------------------------------- pad */

typedef struct bench {
    rg_air air;
    const rg_flow_options *options;
    double length_mm, depth_mm; /* of one bearing's slot */
} bench;

static bench bench_of(const rg_rim *rim, const rg_flow_options *o)
{
    bench b = {rg_air_at(o->temperature_c, o->ambient_pa), o, 0, 0};
    if (rim) {
        double inner = rim->inner_diameter_mm / 2, outer = rim->outer_diameter_mm / 2;
        b.depth_mm = outer - inner;
        b.length_mm = b.depth_mm / log(outer / inner) * rg_radians(360.0 / RG_BINS);
    }
    return b;
}

static double flow_at(const bench *b, double width_mm)
{
    rg_slot s = {fmax(width_mm, 0), b->length_mm, b->depth_mm};
    return rg_flow_slot(&s, &b->air, b->options->blowing_pa, b->options);
}

static double slope_at(const bench *b, double width_mm)
{
    double h = 1e-4 * width_mm;
    return (flow_at(b, width_mm + h) - flow_at(b, width_mm - h)) / (2 * h);
}

static void add_bin(const bench *b, const rg_bin *bin, rg_leak *leak)
{
    double spread = b->options->coverage_factor * bin->u_mm;
    leak->ml_s += flow_at(b, bin->width_mm);
    leak->u_ml_s += slope_at(b, bin->width_mm) * bin->u_mm;
    leak->low_ml_s += flow_at(b, bin->width_mm - spread);
    leak->high_ml_s += flow_at(b, bin->width_mm + spread);
}

/* A dark bearing may show a little light that is not enough to be called a gap. */
static void add_dark(const bench *b, const rg_bin *bin, rg_leak *leak)
{
    double most = bin->detection_limit_mm;
    if (isfinite(bin->width_mm) && isfinite(bin->u_mm))
        most = fmax(most, bin->width_mm + b->options->coverage_factor * bin->u_mm);
    leak->ml_s += flow_at(b, most);
    leak->high_ml_s = leak->ml_s;
    leak->u_ml_s = NAN;
}

static double orifice_of(const bench *b, double ml_s)
{
    return rg_flow_orifice_mm(ml_s, &b->air, b->options->blowing_pa, b->options->discharge);
}

static void finish(const bench *b, rg_leak *leak)
{
    leak->orifice_mm = orifice_of(b, leak->ml_s);
    leak->orifice_low_mm = orifice_of(b, leak->low_ml_s);
    leak->orifice_high_mm = orifice_of(b, leak->high_ml_s);
    leak->ml_s_kpa = leak->ml_s / b->options->blowing_pa * 1000;
}

/* A bearing belongs to an arc that covers its middle, half a bin beyond the ends included. */
static bool in_arc(const rg_arc *arc, double bearing_deg)
{
    double half = 180.0 / RG_BINS;
    return arc->full_circle ||
           rg_wrap_degrees(bearing_deg - arc->start_deg + half) <= arc->extent_deg + 2 * half;
}

static void add_to_arc(const bench *b, const rg_seal_map *map, const rg_bin *bin, rg_pad_flow *flow)
{
    for (int a = 0; a < map->arcs; a++)
        if (in_arc(&map->arc[a], bin->bearing_deg)) {
            add_bin(b, bin, &flow->arc[a]);
            return;
        }
}

static void add_bearings(const bench *b, const rg_seal_map *map, rg_pad_flow *flow)
{
    for (int i = 0; i < RG_BINS; i++) {
        const rg_bin *bin = &map->bin[i];
        if (bin->state == RG_BIN_GAP) {
            flow->gap++;
            add_bin(b, bin, &flow->measured);
            add_to_arc(b, map, bin, flow);
        } else if (bin->state == RG_BIN_SEALED && isfinite(bin->detection_limit_mm)) {
            flow->sealed++;
            add_dark(b, bin, &flow->dark);
        } else {
            flow->unseen++;
        }
    }
}

static rg_code check_rim(const rg_seal_map *map, const rg_rim *rim, rg_error *err)
{
    rg_code code = rg_rim_check(rim, err);
    double there = map->rim_outer_diameter_mm;
    if (code == RG_OK && !(fabs(there / rim->outer_diameter_mm - 1) <= 0.02))
        return rg_fail(
            err, RG_BAD_DATA,
            "the seal map's rim has %.9g mm, the instrument file's rim_outer_mm is %.9g; "
            "take the instrument file that the pad was measured with",
            there, rim->outer_diameter_mm);
    return code;
}

rg_code rg_pad_flow_find(const rg_seal_map *map, const rg_rim *rim, const rg_flow_options *options,
                         rg_pad_flow *flow, rg_error *err)
{
    memset(flow, 0, sizeof *flow);
    rg_code code = rg_flow_check(options, err);
    if (code == RG_OK)
        code = check_rim(map, rim, err);
    if (code != RG_OK)
        return code;
    bench b = bench_of(rim, options);
    flow->arcs = map->arcs;
    add_bearings(&b, map, flow);
    finish(&b, &flow->measured);
    finish(&b, &flow->dark);
    for (int a = 0; a < flow->arcs; a++)
        finish(&b, &flow->arc[a]);
    return RG_OK;
}

/* ------------------------------------------------------------- instrument */

static void add_leak(rg_leak *sum, const rg_leak *leak)
{
    sum->ml_s += leak->ml_s;
    sum->u_ml_s += leak->u_ml_s;
    sum->low_ml_s += leak->low_ml_s;
    sum->high_ml_s += leak->high_ml_s;
}

void rg_instrument_flow_sum(const rg_pad_flow *pads, int count, const rg_flow_options *options,
                            rg_instrument_flow *flow)
{
    memset(flow, 0, sizeof *flow);
    for (int i = 0; i < count; i++) {
        add_leak(&flow->measured, &pads[i].measured);
        add_leak(&flow->dark, &pads[i].dark);
        flow->gap += pads[i].gap;
        flow->sealed += pads[i].sealed;
        flow->unseen += pads[i].unseen;
    }
    bench b = bench_of(NULL, options);
    finish(&b, &flow->measured);
    finish(&b, &flow->dark);
}
