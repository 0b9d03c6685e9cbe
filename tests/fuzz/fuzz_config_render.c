/*
 * Fuzz target for plans of sweeps to be rendered. Besides memory errors it stops at a refusal without a
 * text and at values outside what the header allows.
 */
#include "fuzz.h"
#include "rimglow/config_render.h"
#include "rimglow/text.h"

static void check_sweep(const rg_render_sweep *s)
{
    require(rg_is_safe_name(s->name));
    require(s->creases >= 0 && s->creases <= RG_RENDER_CREASES);
    require(s->streaks >= 0 && s->streaks <= RG_RENDER_STREAKS);
    require(s->levels >= 1 && s->levels <= RG_RENDER_LEVELS);
    require(s->levels * s->bearings < RG_FRAMES_MAX);
    require(s->format == RG_RENDER_JPEG || s->format == RG_RENDER_PNG);
}

static void try_plan(const char *text, size_t size)
{
    rg_error err = {0};
    rg_render_plan plan;
    rg_code code = rg_render_plan_parse("fuzz.ini", text, size, &plan, &err);
    require(code == RG_OK || (code == RG_BAD_DATA && err.code == code && err.text[0]));
    require(code == RG_OK || !plan.sweep);
    for (int i = 0; i < plan.sweeps; i++)
        check_sweep(&plan.sweep[i]);
    require(plan.frames <= RG_RENDER_FRAMES_MAX);
    for (int i = 0; i < plan.frames; i++)
        require(rg_is_safe_name(plan.frame[i].name));
    rg_render_plan_free(&plan);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    return fuzz_exact(try_plan, data, size);
}
