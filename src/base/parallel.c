/* Independent tasks side by side. */
#include <layshaft/base.h>

#include <pthread.h>
#include <stdlib.h>
#include <unistd.h>

#define THREADS_MOST 256

typedef struct crew {
    const lay_tasks *tasks;
    pthread_mutex_t lock;
    size_t next, done, failed; /* the first task that failed; count: none */
    lay_status status;
    lay_error error;
} crew;

/* The next task; count when all are given out, or one has failed. */
static size_t take_next(crew *c) {
    pthread_mutex_lock(&c->lock);
    size_t task = c->failed < c->tasks->count ? c->tasks->count : c->next++;
    pthread_mutex_unlock(&c->lock);
    return task;
}

static void tell(crew *c, size_t task, lay_status status, const lay_error *error) {
    pthread_mutex_lock(&c->lock);
    c->done++;
    if (status != LAY_OK && task < c->failed) {
        c->failed = task;
        c->status = status;
        c->error = *error;
    }
    if (status == LAY_OK && c->tasks->progress) c->tasks->progress(c->done, c->tasks->count, c->tasks->user);
    pthread_mutex_unlock(&c->lock);
}

static void *work(void *user) {
    crew *c = user;
    for (size_t task = take_next(c); task < c->tasks->count; task = take_next(c)) {
        lay_error error = {0};
        lay_status status = c->tasks->run(task, c->tasks->work, &error);
        tell(c, task, status, &error);
    }
    return NULL;
}

int lay_processors(void) {
    long found = sysconf(_SC_NPROCESSORS_ONLN);
    return found < 1 ? 1 : found > THREADS_MOST ? THREADS_MOST : (int)found;
}

/* The caller works as well; helpers that cannot be had are done without. */
lay_status lay_run_tasks(const lay_tasks *tasks, lay_error *err) {
    crew c = {.tasks = tasks, .lock = PTHREAD_MUTEX_INITIALIZER, .failed = tasks->count, .status = LAY_OK};
    pthread_t helpers[THREADS_MOST];
    size_t wanted = (size_t)(tasks->threads > 0 ? tasks->threads : lay_processors()), count = 0;
    if (wanted > THREADS_MOST) wanted = THREADS_MOST;
    if (wanted > tasks->count) wanted = tasks->count;
    while (count + 1 < wanted && pthread_create(&helpers[count], NULL, work, &c) == 0) count++;
    work(&c);
    for (size_t i = 0; i < count; i++) pthread_join(helpers[i], NULL);
    pthread_mutex_destroy(&c.lock);
    if (c.status != LAY_OK && err) *err = c.error;
    return c.status;
}
