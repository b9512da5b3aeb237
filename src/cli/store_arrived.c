/* What came from machines: listed, taken as files, removed. */
#include "cli/store.h"

#include "store/objects.h"

#include <stdio.h>

sl_status sl_store_do_arrived(void *context, sl_error *error)
{
    sl_store_job *job = context;
    sl_arena arena = {0};
    const sl_store_study *study;
    int count = 0;
    sl_status status = sl_store_needs(job, 0, error);
    if (status == SL_OK)
        status = sl_store_studies(job->store, &(sl_store_object_query){0}, &arena, &study, &count, error);
    for (int i = 0; i < count && status == SL_OK; i++) {
        const sl_store_object *one = study[i].object;
        printf("%s  %.16s UTC  %d clip%s", one->study_uid, study[i].came, study[i].pictures, study[i].pictures == 1 ? "" : "s");
        if (study[i].objects > study[i].pictures)
            printf(" and %d other object%s", study[i].objects - study[i].pictures, study[i].objects - study[i].pictures == 1 ? "" : "s");
        printf(", %.1f MB, from %s; of %s %s, %s\n", (double)study[i].bytes / 1e6, one->from, one->study_date, *one->modality ? one->modality : "-",
               *one->patient_name || *one->patient_id ? "patient named" : "no patient named");
    }
    if (status == SL_OK && !count)
        printf("Nothing has arrived in %s.\n", sl_store_folder(job->store));
    sl_arena_free(&arena);
    return status;
}

sl_status sl_store_do_take(void *context, sl_error *error)
{
    sl_store_job *job = context;
    int taken = 0;
    sl_status status = sl_store_needs(job, 1, error);
    if (status == SL_OK && !job->out)
        status = sl_fail(error, SL_USAGE, "--out DIR is missing: where shall the clips go?");
    if (status == SL_OK)
        status = sl_store_object_take(job->store, job->word[1], job->out, &taken, error);
    if (status == SL_OK)
        printf("%d clip%s %s in %s, with the patient's name as the machine sent it; read them with strandline read %s --out REPORT\n", taken,
               taken == 1 ? "" : "s", taken == 1 ? "is" : "are", job->out, job->out);
    return status;
}

sl_status sl_store_do_drop(void *context, sl_error *error)
{
    sl_store_job *job = context;
    int objects = 0;
    sl_status status = sl_store_needs(job, 1, error);
    if (status == SL_OK && !job->yes)
        status = sl_fail(error, SL_USAGE, "This removes what arrived of that study for good; say --yes to mean it.");
    if (status == SL_OK)
        status = sl_store_object_drop(job->store, job->word[1], &objects, error);
    if (status == SL_OK && !objects)
        status = sl_fail(error, SL_USAGE, "Nothing of the study %.64s is among what arrived.", job->word[1]);
    if (status == SL_OK)
        printf("%d object%s gone from what arrived. Examinations that took them over keep theirs.\n", objects, objects == 1 ? " is" : "s are");
    return status;
}
