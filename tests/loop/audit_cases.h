/* Chests by chance, acquired well or with one thing wrong, for the audit's measured design. */
#ifndef SL_TESTS_AUDIT_CASES_H
#define SL_TESTS_AUDIT_CASES_H

#include "chest/scenario.h"

typedef struct audit_fault {
    const char *key;   /* of the rule that should complain; "" = acquired well */
    const char *also;  /* another rule that says the same thing rightly, or "" */
    const char *what;  /* what is set wrong */
    bool deep;         /* only at deep points */
    void (*spoil)(sl_scenario *scenario, double u); /* u: 0..1, how much and in which way */
} audit_fault;

extern const audit_fault audit_faults[];
extern const int audit_fault_count; /* the first is "acquired well" */

/* A well acquired chest: `deep` for the costophrenic and posterolateral points. */
void audit_chest(uint64_t seed, bool deep, sl_scenario *scenario);

#endif
