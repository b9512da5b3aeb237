#include "core/pool.h"

#include <pthread.h>
#include <stdatomic.h>
#include <unistd.h>

enum { MOST_WORKERS = 64 };

typedef struct job {
    sl_pool_work work;
    void *context;
    int items;
    atomic_int next;
} job;

typedef struct seat {
    job *job;
    int worker;
    pthread_t thread;
} seat;

static void *serve(void *argument)
{
    seat *self = argument;
    for (;;) {
        int item = atomic_fetch_add(&self->job->next, 1);
        if (item >= self->job->items)
            return NULL;
        self->job->work(self->job->context, item, self->worker);
    }
}

int sl_cores(void)
{
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    return cores < 1 ? 1 : cores > MOST_WORKERS ? MOST_WORKERS : (int)cores;
}

void sl_pool_run(int workers, int items, sl_pool_work work, void *context)
{
    job shared = {.work = work, .context = context, .items = items};
    atomic_init(&shared.next, 0);
    if (workers < 1)
        workers = sl_cores();
    if (workers > items)
        workers = items;
    if (workers > MOST_WORKERS)
        workers = MOST_WORKERS;
    seat seats[MOST_WORKERS];
    int started = 1;
    for (; started < workers; started++) {
        seats[started] = (seat){.job = &shared, .worker = started};
        if (pthread_create(&seats[started].thread, NULL, serve, &seats[started]))
            break;
    }
    seats[0] = (seat){.job = &shared, .worker = 0};
    serve(&seats[0]);
    for (int i = 1; i < started; i++)
        pthread_join(seats[i].thread, NULL);
}
