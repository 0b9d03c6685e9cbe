/*
 * bench_assets.h - the files of src/app/bench as they are, put into the program by bench_assets.S.
 */
#ifndef RIMGLOW_APP_BENCH_ASSETS_H
#define RIMGLOW_APP_BENCH_ASSETS_H

#include <stdint.h>

extern const uint8_t rg_asset_bench_html[], rg_asset_bench_css[], rg_asset_bench_js[];
extern const uint8_t rg_asset_archive_html[], rg_asset_archive_js[], rg_asset_icon_svg[];
extern const uint64_t rg_asset_bench_html_size, rg_asset_bench_css_size, rg_asset_bench_js_size;
extern const uint64_t rg_asset_archive_html_size, rg_asset_archive_js_size, rg_asset_icon_svg_size;
extern const uint8_t rg_asset_common_js[];
extern const uint64_t rg_asset_common_js_size;
extern const uint8_t rg_asset_setup_html[], rg_asset_setup_js[], rg_asset_worklist_js[];
extern const uint64_t rg_asset_setup_html_size, rg_asset_setup_js_size, rg_asset_worklist_js_size;
extern const uint8_t rg_asset_calibrate_html[], rg_asset_calibrate_css[], rg_asset_calibrate_js[];
extern const uint64_t rg_asset_calibrate_html_size, rg_asset_calibrate_css_size,
    rg_asset_calibrate_js_size;

#endif
