/* Learners: sessions drawn from a pool of clips whose truth is known (simulated, or read by an expert), answers with
 * feedback at once, a chart a finding, and what to practise next. All is kept in LEARNER/progress.jsonl, one line an
 * event, only ever added to. */
#ifndef SL_AGREE_LEARNING_H
#define SL_AGREE_LEARNING_H

#include "agree/cusum.h"
#include "agree/estimate.h"
#include "agree/reads.h"

/* ---- learning_rules.c: the parameters, one row a finding ---- */
typedef struct sl_learning_rule {
    double inadequate, adequate; /* failure rates p0 > p1 of the LC-CUSUM */
    int attempts;                /* n over which false discovery is held */
    double false_discovery;      /* held at most */
    const char *source;
} sl_learning_rule;

const sl_learning_rule *sl_learning_rule_of(sl_code code);

/* ---- learner.c ---- */
typedef struct sl_attempt {
    int session;
    const char *clip;
    sl_code code;
    const char *said, *truth; /* in words */
    bool right;
    bool first;               /* the learner had not met this clip's finding before: only these count in the chart */
} sl_attempt;

typedef struct sl_session {
    int number;
    const char *pool;
    int codes;
    sl_code code[SL_CODES];
    int clips;
    const char **clip;
} sl_session;

typedef struct sl_learner {
    sl_arena *arena;
    const char *folder;
    int sessions, session_room;
    sl_session *session;
    int attempts, attempt_room;
    sl_attempt *attempt;
} sl_learner;

/* A learner without a file yet is a new one. Damaged lines become notes. */
sl_status sl_learner_load(const char *folder, sl_arena *arena, sl_notes *notes, sl_learner *learner, sl_error *error);

/* Loads a pool: a table or JSON of readings, or a folder of such JSON (e.g. *.truth.json of `simulate`). */
sl_status sl_pool_load(const char *path, sl_arena *arena, sl_notes *notes, sl_reads *pool, sl_error *error);

/* Draws up to `clips` clips and writes the session down: clips not met before come first, and of the finding to
 * practise next each class in turn. The same pool, learner and seed give the same session. */
sl_status sl_learner_draw(sl_learner *learner, const sl_reads *pool, const char *pool_path, int clips,
                          const sl_code *code, int codes, uint64_t seed, const char *when, sl_session **session,
                          sl_error *error);

/* Whether the truth of this point is certain, so that it can be asked. */
bool sl_truth_certain(const sl_finding *truth);

/* Marks one answer and writes it down. SL_USAGE when the session has that answer already (nothing is overwritten).
 * `said` NULL or not known: could not tell, which counts as not right. */
sl_status sl_learner_answer(sl_learner *learner, const sl_session *session, const char *clip, const sl_finding *said,
                            const sl_finding *truth, const char *when, const sl_attempt **attempt, sl_error *error);

bool sl_learner_answered(const sl_learner *learner, int session, const char *clip, sl_code code);

/* "Right. B-lines: present. Seen in frames 12 to 40 ..." */
void sl_feedback(const sl_attempt *attempt, const sl_finding *truth, sl_text *text);

/* ---- curve.c ---- */
typedef struct sl_curve {
    sl_code code;
    const sl_learning_rule *rule;
    int attempts, right;   /* at first sight */
    const int *success;    /* [attempts] */
    const double *chart;   /* LC-CUSUM after each */
    sl_estimate share, recent; /* right of all, of the last SL_RECENT; Wilson */
    sl_lc_plan plan;       /* with its computed limit; h NAN: none holds the false discovery */
    double false_discovery, power; /* of this plan over the greater of its n and the attempts made */
    int over;              /* that number */
    int signal;            /* attempt at which the chart passed the limit; 0: not yet */
    double now;
    int fewest, median;    /* more attempts: in a row right; for half of adequate readers. -1: not within reach */
    int slipped;           /* attempt after the signal at which a standard CUSUM warns again; 0: no */
    int yes, missed, no, false_alarms, unsure; /* yes/no findings */
    int high, low;         /* others: answers above and below the truth */
} sl_curve;

enum { SL_RECENT = 20 };

/* Curves of the findings that were ever asked, in order of code; the count or -1 when memory is out. */
int sl_learner_curves(const sl_learner *learner, sl_curve **curve);
/* Which to practise next: index of a curve, -1 when all are adequate or nothing was asked. */
int sl_practise_next(const sl_curve *curve, int curves);
/* The curve in words, its limit and what it means always with it. */
void sl_curve_text(const sl_curve *curve, sl_text *text);
void sl_practise_text(const sl_curve *curve, int curves, sl_text *text);
json_t *sl_curve_json(const sl_curve *curve);

#endif
