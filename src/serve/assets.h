/* The page's files, packed into the program at build time (scripts/pack_page.py). */
#ifndef SL_SERVE_ASSETS_H
#define SL_SERVE_ASSETS_H

#include <stddef.h>

typedef struct sl_asset {
    const char *name, *type;    /* "page.js", "text/javascript; charset=utf-8" */
    const unsigned char *bytes; /* gzip, unless `plain` */
    size_t length, unpacked;    /* `unpacked`: length before gzip */
    int plain;                  /* not packed again: fonts are already */
} sl_asset;

extern const sl_asset sl_assets[]; /* ends with a NULL name */
extern const sl_asset sl_scenarios_asset; /* the invented chests of scenarios/ as one JSON array */

#endif
