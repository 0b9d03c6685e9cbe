/*
 * setup_sheet.c - what changed since an earlier visit.
 */
#include "rimglow/setup_sheet.h"

#include <math.h>
#include <string.h>

#include "rimglow/text.h"
#include "rimglow/unit.h"

const char *rg_service_state_name(rg_service_state state, bool pad)
{
    static const char *const name[][2] = {
        [RG_SERVICE_UNKNOWN] = {"not comparable", "not comparable"},
        [RG_SERVICE_SAME] = {"no change shown", "no change shown"},
        [RG_SERVICE_MORE] = {"more", "wider"},
        [RG_SERVICE_LESS] = {"less", "narrower"}};
    return name[state][pad];
}

static void begin(rg_service_line *line)
{
    line->then = line->now = line->change = line->u_change = line->bearing_deg = NAN;
    line->state = RG_SERVICE_UNKNOWN;
}

void rg_service_value(const rg_release_value *then, const rg_release_value *now, double k,
                      rg_service_line *line)
{
    double u = NAN;
    begin(line);
    line->pad = false;
    line->now = now->value;
    rg_copy_text(line->name, sizeof line->name, now->quantity);
    rg_copy_text(line->unit, sizeof line->unit, now->unit);
    if (!rg_unit_convert(then->value, then->unit, now->unit, &line->then))
        return;
    rg_unit_convert(then->u, then->unit, now->unit, &u);
    line->change = line->now - line->then;
    line->u_change = sqrt(now->u * now->u + u * u);
    if (isnan(line->u_change))
        return;
    if (fabs(line->change) <= k * line->u_change)
        line->state = RG_SERVICE_SAME;
    else
        line->state = line->change > 0 ? RG_SERVICE_MORE : RG_SERVICE_LESS;
}

void rg_service_pad(const rg_change *change, double then_mm, double now_mm, rg_service_line *line)
{
    static const rg_service_state of[] = {[RG_CHANGE_NONE] = RG_SERVICE_SAME,
                                          [RG_CHANGE_GREW] = RG_SERVICE_MORE,
                                          [RG_CHANGE_SHRANK] = RG_SERVICE_LESS,
                                          [RG_CHANGE_UNSEEN] = RG_SERVICE_UNKNOWN};
    const rg_change_arc *most = NULL;
    begin(line);
    line->pad = true;
    strcpy(line->unit, "mm");
    line->then = then_mm;
    line->now = now_mm;
    line->state = of[change->overall];
    line->change = change->mean_change_mm;
    line->u_change = change->u_mean_change_mm;
    for (int i = 0; i < change->arcs; i++)
        if (change->arc[i].state == change->overall &&
            (!most || fabs(change->arc[i].most_mm) > fabs(most->most_mm)))
            most = &change->arc[i];
    if (most) {
        line->change = most->most_mm;
        line->u_change = most->u_most_mm;
        line->bearing_deg = most->most_bearing_deg;
    }
}
