-- Version 1 of the tables of the shared store. Once shipped, this text is never changed: the next version is another file.
-- Names are sorted by their bytes, as the index of a results folder sorts them.

-- What stands once.
CREATE TABLE name (id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY, text TEXT COLLATE "C" NOT NULL UNIQUE);
CREATE TABLE serial (id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY, text TEXT COLLATE "C" NOT NULL UNIQUE);
CREATE TABLE look (
    id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY, name BIGINT NOT NULL REFERENCES name, if_not TEXT COLLATE "C" NOT NULL,
    UNIQUE (name, if_not));
CREATE TABLE head (
    id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY, look BIGINT NOT NULL REFERENCES look,
    measurand BIGINT NOT NULL REFERENCES name, label BIGINT NOT NULL REFERENCES name,
    tolerance BIGINT NOT NULL REFERENCES name, unit BIGINT NOT NULL REFERENCES name,
    lower DOUBLE PRECISION, upper DOUBLE PRECISION, UNIQUE (measurand, look, label, tolerance, unit));

-- A run, as its record says; moments in ms since 1970, decisions and origins as the index has them.
CREATE TABLE run (
    id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY, serial BIGINT NOT NULL REFERENCES serial,
    folder TEXT COLLATE "C" NOT NULL UNIQUE, started BIGINT NOT NULL, ended BIGINT NOT NULL,
    decision BIGINT NOT NULL CHECK (decision BETWEEN 0 AND 3), origin BIGINT NOT NULL CHECK (origin BETWEEN 0 AND 2),
    simulated BIGINT NOT NULL, interrupted BIGINT NOT NULL, model BIGINT NOT NULL REFERENCES name,
    firmware BIGINT REFERENCES name, plan BIGINT NOT NULL REFERENCES name, revision BIGINT NOT NULL,
    jig BIGINT NOT NULL REFERENCES name, bench BIGINT REFERENCES name, operator BIGINT REFERENCES name);
CREATE INDEX run_serial ON run (serial);
CREATE INDEX run_started ON run (started);
CREATE TABLE late (run BIGINT NOT NULL REFERENCES run, earlier TEXT COLLATE "C" NOT NULL, PRIMARY KEY (run, earlier));
CREATE TABLE part (
    run BIGINT NOT NULL REFERENCES run, name BIGINT NOT NULL REFERENCES name, lot BIGINT NOT NULL REFERENCES name,
    PRIMARY KEY (run, name, lot));
CREATE INDEX part_lot ON part (lot, name, run);
CREATE TABLE checked (
    look BIGINT NOT NULL REFERENCES look, run BIGINT NOT NULL REFERENCES run, decision BIGINT NOT NULL, PRIMARY KEY (look, run));
CREATE TABLE value (
    head BIGINT NOT NULL REFERENCES head, run BIGINT NOT NULL REFERENCES run, place BIGINT NOT NULL, decision BIGINT NOT NULL,
    value DOUBLE PRECISION, u DOUBLE PRECISION, PRIMARY KEY (head, run, place));

-- Its seal: where it stands in its bench's chain, and when it came here.
CREATE TABLE seal (
    run BIGINT PRIMARY KEY REFERENCES run, bench TEXT COLLATE "C" NOT NULL, chain TEXT COLLATE "C" NOT NULL,
    counter BIGINT NOT NULL, head TEXT COLLATE "C" NOT NULL, key TEXT COLLATE "C", sealed TEXT NOT NULL,
    arrived TIMESTAMPTZ NOT NULL DEFAULT now(), brought_by TEXT NOT NULL DEFAULT session_user);
CREATE INDEX seal_chain ON seal (chain, counter);

-- Its files, every one that the seal names and the seal's own; what is in them stands once, under its digest. A capture that
-- stayed at the bench has a file and no content. The database itself holds every content against its digest.
CREATE TABLE file (
    run BIGINT NOT NULL REFERENCES run, name TEXT COLLATE "C" NOT NULL, sha256 TEXT COLLATE "C" NOT NULL, bytes BIGINT NOT NULL,
    PRIMARY KEY (run, name));
CREATE TABLE content (
    sha256 TEXT COLLATE "C" PRIMARY KEY, bytes BYTEA NOT NULL, CHECK (sha256 = encode(sha256(bytes), 'hex')));

-- Dispatches and returns: the line as it stands beside the runs, and the bench that brought it first.
CREATE TABLE event (
    id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY, serial TEXT COLLATE "C" NOT NULL, sha256 TEXT COLLATE "C" NOT NULL,
    bench TEXT COLLATE "C" NOT NULL, line TEXT NOT NULL, arrived TIMESTAMPTZ NOT NULL DEFAULT now(),
    brought_by TEXT NOT NULL DEFAULT session_user, UNIQUE (serial, sha256),
    CHECK (sha256 = encode(sha256(convert_to(line, 'UTF8')), 'hex')));
