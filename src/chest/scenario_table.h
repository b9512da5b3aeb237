/* The one table of a scenario's fields: where each lies, what it may be, what it means. Loading, checking, saving and
 * the schema all walk it. */
#ifndef SL_CHEST_SCENARIO_TABLE_H
#define SL_CHEST_SCENARIO_TABLE_H

#include "chest/scenario.h"

#include <stddef.h>

typedef enum sl_field_type { SL_FIELD_REAL, SL_FIELD_INT, SL_FIELD_BOOL, SL_FIELD_CHOICE } sl_field_type;

typedef struct sl_field {
    const char *key;
    size_t offset;            /* within its group */
    sl_field_type type;
    double low, high;
    const char *const *names; /* SL_FIELD_CHOICE: ends with NULL; the value is the index */
    const char *meaning;
} sl_field;

typedef struct sl_group {
    const char *key;          /* "" = the scenario itself */
    size_t offset;            /* of the object, or of the first of a list */
    size_t size;              /* of one element; used by lists */
    size_t count_offset;      /* of the int that counts a list's elements; 0 = not a list */
    int most;
    const sl_field *field;
    int fields;
    const char *meaning;
} sl_group;

extern const sl_group sl_scenario_groups[];
extern const int sl_scenario_group_count;

#endif
