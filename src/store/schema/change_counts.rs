//! How often what is known of a station or a site has changed.

/// The table, and what counts: days, rain and forecasts of a station, entries of a site.
pub(super) const STATEMENTS: &str = "
    CREATE TABLE change_count (
        kind  TEXT NOT NULL CHECK (kind IN ('station', 'site')),
        id    TEXT NOT NULL,
        times INTEGER NOT NULL,
        PRIMARY KEY (kind, id)
    ) STRICT, WITHOUT ROWID;

    CREATE TRIGGER reading_year_added AFTER INSERT ON reading_year BEGIN
        INSERT INTO change_count VALUES ('station', NEW.station, 1)
            ON CONFLICT DO UPDATE SET times = times + 1;
    END;
    CREATE TRIGGER reading_year_changed AFTER UPDATE ON reading_year BEGIN
        INSERT INTO change_count VALUES ('station', NEW.station, 1)
            ON CONFLICT DO UPDATE SET times = times + 1;
    END;
    CREATE TRIGGER reading_year_removed AFTER DELETE ON reading_year BEGIN
        INSERT INTO change_count VALUES ('station', OLD.station, 1)
            ON CONFLICT DO UPDATE SET times = times + 1;
    END;

    CREATE TRIGGER rain_added AFTER INSERT ON rain BEGIN
        INSERT INTO change_count VALUES ('station', NEW.station, 1)
            ON CONFLICT DO UPDATE SET times = times + 1;
    END;
    CREATE TRIGGER rain_changed AFTER UPDATE ON rain BEGIN
        INSERT INTO change_count VALUES ('station', NEW.station, 1)
            ON CONFLICT DO UPDATE SET times = times + 1;
    END;
    CREATE TRIGGER rain_removed AFTER DELETE ON rain BEGIN
        INSERT INTO change_count VALUES ('station', OLD.station, 1)
            ON CONFLICT DO UPDATE SET times = times + 1;
    END;

    CREATE TRIGGER forecast_added AFTER INSERT ON forecast BEGIN
        INSERT INTO change_count VALUES ('station', NEW.station, 1)
            ON CONFLICT DO UPDATE SET times = times + 1;
    END;
    CREATE TRIGGER forecast_removed AFTER DELETE ON forecast BEGIN
        INSERT INTO change_count VALUES ('station', OLD.station, 1)
            ON CONFLICT DO UPDATE SET times = times + 1;
    END;

    CREATE TRIGGER entry_added AFTER INSERT ON journal BEGIN
        INSERT INTO change_count VALUES ('site', NEW.site, 1)
            ON CONFLICT DO UPDATE SET times = times + 1;
    END;
    CREATE TRIGGER entry_changed AFTER UPDATE ON journal BEGIN
        INSERT INTO change_count VALUES ('site', NEW.site, 1)
            ON CONFLICT DO UPDATE SET times = times + 1;
    END;
    ";
